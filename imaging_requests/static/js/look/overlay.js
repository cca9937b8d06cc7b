// What lies over the pictures: regions with notes, a measured length, the scale bar, the cross.

import { mirrorX, millimetres, roundLength } from "./geometry.js";

const SVG = "http://www.w3.org/2000/svg";
const BAR_SHARE = 0.25;
const EDGE_PX = 14;
// Above the line of numbers, which lies over the lower edge of the last picture.
const RAISED_PX = 40;

function make(name, className) {
  const element = document.createElementNS(SVG, name);
  element.setAttribute("class", className);
  return element;
}

function set(element, values) {
  for (const [name, value] of Object.entries(values)) {
    element.setAttribute(name, String(value));
  }
}

// A light line on a dark one is seen on every ground.
function strokes(name, chosen = false) {
  return ["look__stroke look__stroke--under", `look__stroke${chosen ? " look__stroke--chosen" : ""}`].map(
    (each) => make(name, each),
  );
}

export class Overlay {
  constructor(pane) {
    this.svg = make("svg", "look__over");
    this.svg.setAttribute("aria-hidden", "true");
    pane.glass.append(this.svg);
    this.regions = make("g", "look__regions");
    this.drawn = make("g", "look__drawn");
    this.bar = [...strokes("path"), make("text", "look__words")];
    this.cross = strokes("path");
    this.svg.append(this.regions, this.drawn, ...this.bar, ...this.cross);
  }

  // Regions and drawn lines are kept in mm of the face looked at; only the drawing is in px.
  draw(camera, { notes, chosenNote, measure, region, hasCross, isRaised }) {
    this.drawRegions(camera, notes, chosenNote);
    this.drawn.replaceChildren();
    if (measure) {
      this.drawMeasure(camera, measure);
    }
    if (region?.length) {
      this.path(this.drawn, camera, region, region.length > 2);
    }
    this.drawBar(camera, isRaised ? RAISED_PX : EDGE_PX);
    const [x, y] = camera.size.map((side) => Math.round(side / 2) + 0.5);
    const path = hasCross ? `M${x - 12} ${y}H${x - 3}M${x + 3} ${y}H${x + 12}M${x} ${y - 12}V${y - 3}M${x} ${y + 3}V${y + 12}` : "";
    this.cross.forEach((each) => set(each, { d: path }));
  }

  drawRegions(camera, notes, chosenNote) {
    this.regions.replaceChildren();
    for (const note of notes) {
      const isChosen = note.pk === chosenNote;
      this.path(this.regions, camera, note.points, true, isChosen);
      if (isChosen) {
        const [x, y] = camera.toPx(...note.points[0]);
        const words = make("text", "look__words");
        set(words, { x, y: y - 6 });
        words.textContent = note.text.length > 60 ? `${note.text.slice(0, 60)}…` : note.text;
        this.regions.append(words);
      }
    }
  }

  path(into, camera, points, isClosed, isChosen = false) {
    const d = `M${points.map((point) => camera.toPx(...point).join(" ")).join("L")}${isClosed ? "Z" : ""}`;
    for (const stroke of strokes("path", isChosen)) {
      set(stroke, { d });
      into.append(stroke);
    }
  }

  drawMeasure(camera, [x1, y1, x2, y2]) {
    this.path(this.drawn, camera, [[x1, y1], [x2, y2]], false);
    const [x, y] = camera.toPx((x1 + x2) / 2, (y1 + y2) / 2);
    const words = make("text", "look__words");
    set(words, { x: x + 8, y: y - 8 });
    words.textContent = millimetres(Math.hypot(x2 - x1, y2 - y1));
    this.drawn.append(words);
  }

  drawBar(camera, fromBelow) {
    const length = roundLength(camera.size[0] * BAR_SHARE * camera.now.scale);
    const width = length / camera.now.scale;
    const y = camera.size[1] - fromBelow;
    const [under, over, words] = this.bar;
    const d = `M${EDGE_PX} ${y - 5}V${y}H${EDGE_PX + width}V${y - 5}`;
    set(under, { d });
    set(over, { d });
    set(words, { x: EDGE_PX, y: y - 9 });
    words.textContent = `${Number(length.toPrecision(3))} mm`;
  }
}

// The notes of the face looked at, and of the other side where it lies over it, turned with it.
export function notesOver(notes, face, width, hasMirrored) {
  const turned = hasMirrored ? { F: "B", B: "F" }[face] : null;
  return notes.flatMap((note) => {
    if (note.face === face) {
      return [note];
    }
    if (note.face === turned) {
      return [{ ...note, points: note.points.map(([x, y]) => [mirrorX(x, width), y]) }];
    }
    return [];
  });
}
