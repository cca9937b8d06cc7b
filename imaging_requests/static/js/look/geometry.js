// Millimetres and pixels. A placement is nine numbers, row by row: pixel corner coordinates to mm
// of the picture's own face. Nothing here knows a page.

const FIT_POINTS = 5;

export function mirrorX(x, width) {
  return width - x;
}

export function toFace(placement, x, y) {
  const [a, b, c, d, e, f, g, h, i] = placement;
  const w = g * x + h * y + i;
  return [(a * x + b * y + c) / w, (d * x + e * y + f) / w];
}

export function inverse(m) {
  const [a, b, c, d, e, f, g, h, i] = m;
  const A = e * i - f * h;
  const B = f * g - d * i;
  const C = d * h - e * g;
  const det = a * A + b * B + c * C;
  return [
    A / det,
    (c * h - b * i) / det,
    (b * f - c * e) / det,
    B / det,
    (a * i - c * g) / det,
    (c * d - a * f) / det,
    C / det,
    (b * g - a * h) / det,
    (a * e - b * d) / det,
  ];
}

export function isSimilarity(m) {
  const scale = Math.hypot(m[0], m[3]);
  const near = (value) => Math.abs(value) < scale * 1e-7;
  return near(m[0] - m[4]) && near(m[1] + m[3]) && near(m[6]) && near(m[7]);
}

// Shift, turn and enlargement that fit a placement best over a part of the picture (px).
export function nearestSimilarity(placement, part) {
  const from = [];
  const to = [];
  for (let row = 0; row < FIT_POINTS; row += 1) {
    for (let column = 0; column < FIT_POINTS; column += 1) {
      const x = part.x + (part.width * column) / (FIT_POINTS - 1);
      const y = part.y + (part.height * row) / (FIT_POINTS - 1);
      from.push([x, y]);
      to.push(toFace(placement, x, y));
    }
  }
  const mean = (points, axis) => points.reduce((sum, p) => sum + p[axis], 0) / points.length;
  const [px, py, mx, my] = [mean(from, 0), mean(from, 1), mean(to, 0), mean(to, 1)];
  let [along, across, spread] = [0, 0, 0];
  from.forEach(([x, y], place) => {
    const [dx, dy, ex, ey] = [x - px, y - py, to[place][0] - mx, to[place][1] - my];
    along += dx * ex + dy * ey;
    across += dx * ey - dy * ex;
    spread += dx * dx + dy * dy;
  });
  along /= spread || 1;
  across /= spread || 1;
  return {
    scale: Math.hypot(along, across),
    turnDeg: (Math.atan2(across, along) * 180) / Math.PI,
    at: (x, y) => [
      along * (x - px) - across * (y - py) + mx,
      across * (x - px) + along * (y - py) + my,
    ],
  };
}

// The part of a picture (px) that lies in a box of the face (mm), cut to the picture.
export function pictureBox(placement, boxMm, width, height) {
  const back = inverse(placement);
  const corners = [
    toFace(back, boxMm.x, boxMm.y),
    toFace(back, boxMm.x + boxMm.width, boxMm.y),
    toFace(back, boxMm.x, boxMm.y + boxMm.height),
    toFace(back, boxMm.x + boxMm.width, boxMm.y + boxMm.height),
  ];
  const cut = (value, most) => Math.min(Math.max(value, 0), most);
  const xs = corners.map(([x]) => cut(x, width));
  const ys = corners.map(([, y]) => cut(y, height));
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  const box = { x: left, y: top, width: Math.max(...xs) - left, height: Math.max(...ys) - top };
  return box.width > 1 && box.height > 1 ? box : { x: 0, y: 0, width, height };
}

export function tileBounds(tile) {
  const corners = [
    [0, 0],
    [tile.width, 0],
    [0, tile.height],
    [tile.width, tile.height],
  ].map(([x, y]) => toFace(tile.placement, x, y));
  const xs = corners.map(([x]) => x);
  const ys = corners.map(([, y]) => y);
  const [x, y] = [Math.min(...xs), Math.min(...ys)];
  return { x, y, width: Math.max(...xs) - x, height: Math.max(...ys) - y };
}

export function union(boxes) {
  const x = Math.min(...boxes.map((box) => box.x));
  const y = Math.min(...boxes.map((box) => box.y));
  return {
    x,
    y,
    width: Math.max(...boxes.map((box) => box.x + box.width)) - x,
    height: Math.max(...boxes.map((box) => box.y + box.height)) - y,
  };
}

// The greatest 1, 2 or 5 times a power of ten that is not longer.
export function roundLength(most) {
  const power = 10 ** Math.floor(Math.log10(most));
  return Math.max(...[1, 2, 5].map((step) => step * power).filter((each) => each <= most * 1.000001));
}

export function millimetres(value) {
  return `${value.toFixed(1)} mm`;
}
