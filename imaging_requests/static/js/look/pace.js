// When to draw the pictures anew while they move. A quick machine draws every frame. A slow one
// carries the last drawing along and draws anew once the view has left it, or has come to rest.

const SLOW_MS = 20;
const PAUSE_MS = 200;
const LEARN = 0.25;
const LEFT_SHARE = 0.12;
const LEFT_ZOOM = 1.35;

export class Pace {
  constructor() {
    this.cost = 0;
    this.last = 0;
    this.isAfterDrawing = false;
    this.drawn = null;
  }

  // Called once a frame with the camera; says whether to draw.
  mayDraw(at, { now, size }) {
    const gap = at - this.last;
    this.last = at;
    if (this.isAfterDrawing && gap < PAUSE_MS * 2) {
      this.cost += (gap - this.cost) * LEARN;
    }
    const may = this.cost < SLOW_MS || !this.drawn || this.hasLeft(now, size);
    this.isAfterDrawing = may;
    if (may) {
      this.drawn = { ...now };
    }
    return may;
  }

  hasLeft(now, size) {
    const { drawn } = this;
    const zoom = Math.max(now.scale / drawn.scale, drawn.scale / now.scale);
    const [across, down] = [now.x - drawn.x, now.y - drawn.y].map((each) => Math.abs(each) / now.scale);
    return zoom > LEFT_ZOOM || across > size[0] * LEFT_SHARE || down > size[1] * LEFT_SHARE;
  }
}
