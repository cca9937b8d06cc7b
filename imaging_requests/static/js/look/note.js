// The words to a region that was drawn: a dialog over the pictures, sent as a plain form.

import { mirrorX } from "./geometry.js";

export class NoteDialog {
  constructor(dialog, { closed }) {
    this.dialog = dialog;
    this.fields = dialog.querySelector("form").elements;
    dialog.querySelector("[data-close]").addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", closed);
  }

  // Corners in mm of the face looked at; a picture that is turned over gets its own back.
  ask(shape, points, { pane, sizeMm, query }) {
    const own = points.map(([x, y]) => [pane.isMirrored ? mirrorX(x, pane.width) : x, y]);
    const [most, low] = sizeMm ?? [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
    const inside = own.map(([x, y]) => [cut(x, most), cut(y, low)]);
    const xs = inside.map(([x]) => x);
    const ys = inside.map(([, y]) => y);
    const [left, top] = [Math.min(...xs), Math.min(...ys)];
    const box = { left_mm: left, top_mm: top, width_mm: Math.max(...xs) - left, height_mm: Math.max(...ys) - top };
    for (const [name, value] of Object.entries(box)) {
      this.fields[name].value = shape === "rectangle" ? String(round(value)) : "";
    }
    this.fields.corners.value =
      shape === "polygon" ? JSON.stringify(inside.map(([x, y]) => [round(x), round(y)])) : "";
    this.fields.picture.value = String(pane.picture.id);
    this.fields.back.value = query;
    this.offer(pane.picture.plane, box);
    this.dialog.querySelector("[data-note-where]").textContent =
      `On ${pane.picture.words}: ${round(left)} mm from the left, ${round(top)} mm from the top, ` +
      `${round(box.width_mm)} × ${round(box.height_mm)} mm.`;
    this.dialog.showModal();
    this.fields.text.focus();
  }

  // The same region as the beginning of a request, for people who may file one.
  offer(face, box) {
    const link = this.dialog.querySelector("[data-ask]");
    if (link) {
      const wanted = new URLSearchParams({ region_face: face });
      for (const name of ["left", "top", "width", "height"]) {
        wanted.set(`region_${name}`, String(round(box[`${name}_mm`])));
      }
      link.href = `${link.dataset.ask}&${wanted}`;
    }
  }
}

function cut(value, most) {
  return Math.min(Math.max(value, 0), most);
}

function round(value) {
  return Math.round(value * 100) / 100;
}
