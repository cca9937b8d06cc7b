// The hand on the pictures: one finger moves, two enlarge, the wheel enlarges; a tool may draw.

const WHEEL = 0.0016;
const TAP_PX = 5;

export class Hand {
  constructor(panes, camera, { start, move, end, drop, point, twice }) {
    this.panes = panes;
    this.camera = camera;
    this.on = { start, move, end, drop, point, twice };
    this.fingers = new Map();
    this.isDrawing = false;
    this.last = null;
    panes.addEventListener("pointerdown", (event) => this.press(event));
    panes.addEventListener("pointermove", (event) => this.drag(event));
    panes.addEventListener("pointerup", (event) => this.lift(event));
    panes.addEventListener("pointercancel", (event) => this.cancel(event));
    panes.addEventListener("dblclick", (event) => this.on.twice(this.spot(event)));
    panes.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  // Where an event lies in its pane; in step, every pane shows the same spot.
  spot(event) {
    const pane = event.target.closest?.(".look__glass") ?? this.pane;
    const box = (pane?.isConnected ? pane : this.panes).getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  press(event) {
    if (event.button > 0 || event.target.closest(".look__divide, a, button")) {
      return;
    }
    this.pane = event.target.closest(".look__glass") ?? this.pane;
    if (!this.pane) {
      return;
    }
    this.panes.setPointerCapture(event.pointerId);
    const spot = this.spotIn(event);
    this.fingers.set(event.pointerId, spot);
    this.last = spot;
    if (this.fingers.size === 1) {
      this.began = spot;
      this.isDrawing = this.on.start(spot, this.pane);
    } else {
      this.drop();
    }
  }

  // A second finger, or a browser that takes the finger away: what it had begun to draw is dropped.
  drop() {
    if (this.isDrawing) {
      this.isDrawing = false;
      this.on.drop();
    }
  }

  cancel(event) {
    this.drop();
    this.lift(event);
  }

  spotIn(event) {
    const box = this.pane.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  drag(event) {
    const known = this.fingers.get(event.pointerId);
    if (!known) {
      this.on.point(this.spot(event));
      return;
    }
    const spot = this.spotIn(event);
    if (this.fingers.size === 2) {
      this.pinch(event.pointerId, spot);
    } else if (this.isDrawing) {
      this.on.move(spot);
    } else {
      this.camera.shift(known[0] - spot[0], known[1] - spot[1], true);
    }
    this.fingers.set(event.pointerId, spot);
    this.on.point(spot);
  }

  pinch(id, spot) {
    const [other] = [...this.fingers].filter(([key]) => key !== id).map(([, value]) => value);
    const before = this.fingers.get(id);
    const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) || 1;
    const middle = [(before[0] + other[0]) / 2, (before[1] + other[1]) / 2];
    this.camera.zoom(apart(spot, other) / apart(before, other), middle, true);
    this.camera.shift((before[0] - spot[0]) / 2, (before[1] - spot[1]) / 2, true);
  }

  lift(event) {
    if (!this.fingers.delete(event.pointerId)) {
      return;
    }
    if (this.isDrawing && this.fingers.size === 0) {
      const spot = this.spotIn(event);
      const isTap = Math.hypot(spot[0] - this.began[0], spot[1] - this.began[1]) < TAP_PX;
      this.on.end(spot, isTap);
      this.isDrawing = false;
    }
  }

  wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 16 : 1;
    this.camera.zoom(Math.exp(-event.deltaY * lines * WHEEL), this.spot(event));
  }
}
