// Draws a region on a picture of a whole face and writes it into plain number fields, in
// millimetres from the top left corner of the face. The picture may have margins around the face;
// a region never leaves the face. Without this file the fields are typed into.

const SVG = "http://www.w3.org/2000/svg";
const STEP_MM = 1;
const STRIDE_MM = 10;
const LEAST_MM = 1;

function rounded(value) {
  return Math.round(value * 10) / 10;
}

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}

function fieldsOf(region) {
  const named = (name) => document.getElementById(region.dataset[name]);
  return {
    face: named("face"),
    left: named("left"),
    top: named("top"),
    width: named("width"),
    height: named("height"),
  };
}

function readBox(fields) {
  const box = {};
  for (const name of ["left", "top", "width", "height"]) {
    const value = Number.parseFloat(fields[name].value);
    if (!Number.isFinite(value)) {
      return null;
    }
    box[name] = value;
  }
  return box.width > 0 && box.height > 0 ? box : null;
}

function writeBox(fields, faceCode, box) {
  fields.face.value = faceCode;
  for (const name of ["left", "top", "width", "height"]) {
    fields[name].value = String(rounded(box[name]));
  }
}

function rectangle(className) {
  const rect = document.createElementNS(SVG, "rect");
  rect.setAttribute("class", className);
  return rect;
}

class Drawing {
  constructor(picture, fields, redrawAll) {
    this.picture = picture;
    this.fields = fields;
    this.redrawAll = redrawAll;
    this.faceCode = picture.dataset.faceCode;
    this.left = Number(picture.dataset.left);
    this.top = Number(picture.dataset.top);
    this.width = Number(picture.dataset.width);
    this.height = Number(picture.dataset.height);
    this.faceWidth = Number(picture.dataset.faceWidth);
    this.faceHeight = Number(picture.dataset.faceHeight);
    this.start = null;
    this.canvas = document.createElementNS(SVG, "svg");
    this.canvas.setAttribute("class", "region__canvas");
    this.canvas.setAttribute("viewBox", `${this.left} ${this.top} ${this.width} ${this.height}`);
    this.canvas.setAttribute("preserveAspectRatio", "none");
    this.canvas.setAttribute("tabindex", "0");
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", `Region on: ${picture.alt}`);
    this.rects = [rectangle("region__under"), rectangle("region__over")];
    this.canvas.append(...this.rects);
    picture.after(this.canvas);
    this.canvas.addEventListener("pointerdown", (event) => this.press(event));
    this.canvas.addEventListener("pointermove", (event) => this.drag(event));
    this.canvas.addEventListener("pointerup", () => this.release());
    this.canvas.addEventListener("pointercancel", () => this.release());
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => this.place()).observe(picture);
    this.place();
    this.draw();
  }

  place() {
    for (const [attribute, value] of [
      ["width", this.picture.clientWidth],
      ["height", this.picture.clientHeight],
    ]) {
      this.canvas.setAttribute(attribute, String(value));
    }
  }

  toMm(event) {
    const box = this.canvas.getBoundingClientRect();
    const x = this.left + ((event.clientX - box.left) / box.width) * this.width;
    const y = this.top + ((event.clientY - box.top) / box.height) * this.height;
    return { x: clamp(x, 0, this.faceWidth), y: clamp(y, 0, this.faceHeight) };
  }

  press(event) {
    event.preventDefault();
    this.canvas.focus();
    this.canvas.setPointerCapture(event.pointerId);
    this.start = this.toMm(event);
  }

  drag(event) {
    if (!this.start) {
      return;
    }
    const now = this.toMm(event);
    writeBox(this.fields, this.faceCode, {
      left: Math.min(this.start.x, now.x),
      top: Math.min(this.start.y, now.y),
      width: Math.abs(now.x - this.start.x),
      height: Math.abs(now.y - this.start.y),
    });
    this.redrawAll();
  }

  release() {
    this.start = null;
  }

  key(event) {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const move = moves[event.key];
    if (!move || event.altKey || event.metaKey) {
      return;
    }
    event.preventDefault();
    const step = event.ctrlKey ? STRIDE_MM : STEP_MM;
    const own = this.fields.face.value === this.faceCode ? readBox(this.fields) : null;
    const box = own ?? {
      left: this.faceWidth / 4,
      top: this.faceHeight / 4,
      width: this.faceWidth / 2,
      height: this.faceHeight / 2,
    };
    const [across, down] = [move[0] * step, move[1] * step];
    if (event.shiftKey) {
      box.width = clamp(box.width + across, LEAST_MM, this.faceWidth - box.left);
      box.height = clamp(box.height + down, LEAST_MM, this.faceHeight - box.top);
    } else {
      box.left = clamp(box.left + across, 0, this.faceWidth - box.width);
      box.top = clamp(box.top + down, 0, this.faceHeight - box.height);
    }
    writeBox(this.fields, this.faceCode, box);
    this.redrawAll();
  }

  draw() {
    const box = this.fields.face.value === this.faceCode ? readBox(this.fields) : null;
    for (const rect of this.rects) {
      rect.setAttribute("visibility", box ? "visible" : "hidden");
      if (box) {
        rect.setAttribute("x", String(box.left));
        rect.setAttribute("y", String(box.top));
        rect.setAttribute("width", String(box.width));
        rect.setAttribute("height", String(box.height));
      }
    }
  }
}

function start(region) {
  const fields = fieldsOf(region);
  const drawings = [];
  const redrawAll = () => drawings.forEach((drawing) => drawing.draw());
  for (const picture of region.querySelectorAll("[data-region-picture]")) {
    drawings.push(new Drawing(picture, fields, redrawAll));
  }
  for (const field of Object.values(fields)) {
    field.addEventListener("input", redrawAll);
  }
  const help = region.querySelector("[data-region-help]");
  if (help) {
    help.hidden = false;
  }
}

document.querySelectorAll("[data-region]").forEach(start);
