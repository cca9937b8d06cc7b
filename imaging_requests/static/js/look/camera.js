// Which part of the face is seen: centre in mm and mm per screen pixel. Moves glide unless the
// person asked for still pages; everything that draws listens.

import { union, tileBounds } from "./geometry.js";

const GLIDE = 0.32;
const EDGE = 1.04;
// Room for the words above and below the picture when the whole is shown, px.
const WORDS_PX = 40;
const CLOSEST_MM_PER_PX = 0.002;
const FURTHEST = 4;
const still = matchMedia("(prefers-reduced-motion: reduce)");

export class Camera {
  constructor(draw) {
    this.draw = draw;
    this.size = [1, 1];
    this.whole = { x: 0, y: 0, width: 1, height: 1 };
    this.now = { x: 0, y: 0, scale: 1 };
    this.goal = { ...this.now };
    this.isWhole = true;
    this.frame = 0;
  }

  setWhole(pictures, sizeMm) {
    this.whole = sizeMm
      ? { x: 0, y: 0, width: sizeMm[0], height: sizeMm[1] }
      : union(pictures.flatMap((each) => each.exposures[0].tiles.map(tileBounds)));
  }

  // The size of one pane; the part in view keeps its scale, the whole is fitted anew.
  resize(width, height) {
    if (width === this.size[0] && height === this.size[1]) {
      return;
    }
    this.size = [Math.max(width, 1), Math.max(height, 1)];
    if (this.isWhole) {
      this.showWhole(true);
    } else {
      this.changed();
    }
  }

  get wholeScale() {
    const room = Math.max(this.size[1] - WORDS_PX, this.size[1] / 2);
    return EDGE * Math.max(this.whole.width / this.size[0], this.whole.height / room);
  }

  showWhole(atOnce = false) {
    const { x, y, width, height } = this.whole;
    this.go({ x: x + width / 2, y: y + height / 2, scale: this.wholeScale }, atOnce);
    this.isWhole = true;
  }

  showPart(centre, across, atOnce = true) {
    this.go({ x: centre[0], y: centre[1], scale: across / this.size[0] }, atOnce);
  }

  go(goal, atOnce) {
    this.isWhole = false;
    const furthest = this.wholeScale * FURTHEST;
    const scale = Math.min(Math.max(goal.scale, CLOSEST_MM_PER_PX), furthest);
    const { x, y, width, height } = this.whole;
    const within = (value, low, high) => Math.min(Math.max(value, low), high);
    this.goal = {
      x: within(goal.x, x - width / 2, x + width * 1.5),
      y: within(goal.y, y - height / 2, y + height * 1.5),
      scale,
    };
    if (atOnce || still.matches) {
      this.now = { ...this.goal };
    }
    this.changed();
  }

  shift(acrossPx, downPx, atOnce = false) {
    const { x, y, scale } = this.goal;
    this.go({ x: x + acrossPx * scale, y: y + downPx * scale, scale }, atOnce);
  }

  // Enlarge about a spot of the pane, which keeps its place on the screen.
  zoom(factor, [px, py] = [this.size[0] / 2, this.size[1] / 2], atOnce = false) {
    const { x, y, scale } = this.goal;
    const closer = Math.min(Math.max(scale / factor, CLOSEST_MM_PER_PX), this.wholeScale * FURTHEST);
    const [dx, dy] = [px - this.size[0] / 2, py - this.size[1] / 2];
    this.go({ x: x + dx * (scale - closer), y: y + dy * (scale - closer), scale: closer }, atOnce);
  }

  toMm(px, py) {
    const { x, y, scale } = this.now;
    return [x + (px - this.size[0] / 2) * scale, y + (py - this.size[1] / 2) * scale];
  }

  toPx(x, y) {
    const { x: cx, y: cy, scale } = this.now;
    return [(x - cx) / scale + this.size[0] / 2, (y - cy) / scale + this.size[1] / 2];
  }

  get box() {
    const [width, height] = this.size.map((side) => side * this.now.scale);
    return { x: this.now.x - width / 2, y: this.now.y - height / 2, width, height };
  }

  changed() {
    this.frame ||= requestAnimationFrame(() => this.step());
  }

  step() {
    this.frame = 0;
    const { now, goal } = this;
    const ratio = Math.log(goal.scale / now.scale);
    const far = Math.hypot(goal.x - now.x, goal.y - now.y) / now.scale;
    if (far > 0.3 || Math.abs(ratio) > 0.0005) {
      now.scale *= Math.exp(ratio * GLIDE);
      now.x += (goal.x - now.x) * GLIDE;
      now.y += (goal.y - now.y) * GLIDE;
      this.changed();
    } else {
      this.now = { ...goal };
    }
    this.draw();
  }
}
