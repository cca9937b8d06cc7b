// Measuring and drawing regions: with a pointer by dragging or tapping, with keys at the cross.
// Everything is kept in mm of the face that is looked at.

const LEAST_MM = 0.05;

export class Tools {
  constructor(panes, camera, { measured, drawn, changed }) {
    this.panes = panes;
    this.camera = camera;
    this.on = { measured, drawn, changed };
    this.name = "move";
    this.points = [];
    this.free = null;
    this.isAtCross = false;
    this.hasBegun = false;
  }

  take(name) {
    this.name = name;
    this.panes.dataset.tool = name;
    this.give();
  }

  give() {
    this.points = [];
    this.free = null;
    this.isAtCross = false;
    this.on.changed();
  }

  get isDrawing() {
    return this.name !== "move";
  }

  // The line or region as it stands, with the loose end at the pointer or at the cross.
  get outline() {
    const loose = this.isAtCross ? [this.camera.now.x, this.camera.now.y] : this.free;
    if (!this.points.length || !loose) {
      return this.points;
    }
    const [first] = this.points;
    if (this.name === "rectangle") {
      return rectangle(first, loose);
    }
    return [...this.points, loose];
  }

  start(spot) {
    if (!this.isDrawing) {
      return false;
    }
    this.isAtCross = false;
    this.hasBegun = this.name !== "polygon" && this.points.length === 0;
    if (this.hasBegun) {
      this.points = [this.camera.toMm(...spot)];
    }
    this.free = this.camera.toMm(...spot);
    return true;
  }

  // The hand lets go without having drawn: its own first point goes, one set before stays.
  drop() {
    if (this.hasBegun) {
      this.points = [];
    }
    this.free = null;
    this.on.changed();
  }

  move(spot) {
    this.free = this.camera.toMm(...spot);
    this.on.changed();
  }

  end(spot, isTap) {
    const here = this.camera.toMm(...spot);
    if (this.name === "polygon") {
      this.points.push(here);
    } else if (!isTap || this.isApart(here)) {
      this.finish(here);
      return;
    }
    this.on.changed();
  }

  isApart(here) {
    const [first] = this.points;
    return Math.hypot(here[0] - first[0], here[1] - first[1]) > 4 * this.camera.now.scale;
  }

  // A point at the cross, for hands that use keys: where the keys have led it, even while the
  // view still glides there.
  set() {
    if (!this.isDrawing) {
      return;
    }
    const here = [this.camera.goal.x, this.camera.goal.y];
    this.isAtCross = true;
    if (this.name === "polygon" || this.points.length === 0) {
      this.points.push(here);
      this.on.changed();
    } else {
      this.finish(here);
    }
  }

  close() {
    if (this.name === "polygon" && this.points.length > 2) {
      this.done("polygon", this.points);
    }
  }

  finish(here) {
    const [first] = this.points;
    if (Math.hypot(here[0] - first[0], here[1] - first[1]) < LEAST_MM) {
      this.give();
    } else if (this.name === "measure") {
      this.give();
      this.on.measured([...first, ...here]);
    } else {
      this.done("rectangle", rectangle(first, here));
    }
  }

  done(shape, points) {
    this.points = points;
    this.free = null;
    this.isAtCross = false;
    this.on.drawn(shape, points);
  }
}

function rectangle([x1, y1], [x2, y2]) {
  const [left, right] = [Math.min(x1, x2), Math.max(x1, x2)];
  const [top, below] = [Math.min(y1, y2), Math.max(y1, y2)];
  return [[left, top], [right, top], [right, below], [left, below]];
}
