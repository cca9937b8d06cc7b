// One picture in its own place, drawn by OpenSeadragon; what is seen is told by the camera alone.

import { isSimilarity, mirrorX, nearestSimilarity, pictureBox } from "./geometry.js";

const OPTIONS = {
  showNavigationControl: false,
  showNavigator: false,
  mouseNavEnabled: false,
  drawer: "canvas",
  tabIndex: -1,
  animationTime: 0,
  blendTime: 0,
  immediateRender: true,
  minZoomImageRatio: 0,
  maxZoomPixelRatio: Number.POSITIVE_INFINITY,
  visibilityRatio: 0,
  minPixelRatio: 0.6,
  imageLoaderLimit: 6,
  maxImageCacheCount: 200,
};
const MOVED_MM = 0.01;

// The library would write a style into the page, which the content policy forbids; it does not when
// an element of this name is there. This one belongs to no language and means nothing.
const placeholder = document.createElementNS("urn:nothing", "style");
placeholder.setAttribute("data-openseadragon-mobile-css", "true");
document.head.append(placeholder);

export class Pane {
  constructor(panes) {
    this.element = document.createElement("div");
    this.element.className = "look__pane";
    this.glass = document.createElement("div");
    this.glass.className = "look__glass";
    this.host = document.createElement("div");
    this.host.className = "look__host";
    this.carried = document.createElement("div");
    this.carried.className = "look__carried";
    this.host.append(this.carried);
    this.caption = document.createElement("span");
    this.caption.className = "look__caption";
    this.turner = null;
    this.glass.append(this.host);
    this.element.append(this.glass, this.caption);
    panes.append(this.element);
    this.viewer = window.OpenSeadragon({ ...OPTIONS, element: this.carried });
    this.viewer.addHandler("update-viewport", () => this.arrived());
    this.viewer.innerTracker.setTracking(false);
    this.viewer.outerTracker.setTracking(false);
    this.picture = null;
    this.ev = null;
    this.placed = [];
    this.isMirrored = false;
    this.width = 0;
    this.now = null;
    this.asked = null;
    this.drawn = null;
  }

  // `mirrorWidth` is the width of the face when the picture is turned over, else 0.
  show(picture, ev, mirrorWidth) {
    this.width = mirrorWidth;
    this.isMirrored = mirrorWidth > 0;
    if (this.picture !== picture) {
      this.viewer.world.removeAll();
      this.placed = [];
      this.picture = picture;
    }
    this.viewer.viewport.setFlip(this.isMirrored);
    this.expose(ev);
  }

  expose(ev) {
    this.ev = ev;
    const exposure = exposureOf(this.picture, ev);
    if (!this.placed.some((each) => each.exposure === exposure)) {
      for (const tile of exposure.tiles) {
        this.add(exposure, tile);
      }
    }
    for (const each of this.placed) {
      each.item?.setOpacity(each.exposure === exposure ? 1 : 0);
    }
  }

  add(exposure, tile) {
    const placed = { exposure, tile, item: null, isFixed: isSimilarity(tile.placement), fit: null };
    this.placed.push(placed);
    const whole = { x: 0, y: 0, width: tile.width, height: tile.height };
    this.viewer.addTiledImage({
      tileSource: sourceOf(tile),
      ...this.positionOf(placed, whole),
      opacity: exposure === exposureOf(this.picture, this.ev) ? 1 : 0,
      preload: true,
      success: ({ item }) => {
        if (!this.placed.includes(placed)) {
          this.viewer.world.removeItem(item);
          return;
        }
        placed.item = item;
        item.setOpacity(placed.exposure === exposureOf(this.picture, this.ev) ? 1 : 0);
        this.element.dispatchEvent(new CustomEvent("placed", { bubbles: true }));
      },
    });
  }

  positionOf(placed, part) {
    const { tile } = placed;
    const fit = nearestSimilarity(tile.placement, part);
    const [x, y] = fit.at(tile.width / 2, tile.height / 2);
    const [width, height] = [fit.scale * tile.width, fit.scale * tile.height];
    return { x: x - width / 2, y: y - height / 2, width, degrees: fit.turnDeg };
  }

  look(camera, mayDraw) {
    this.now = { ...camera.now, size: camera.size };
    if (mayDraw) {
      this.draw(camera);
    }
    this.carry();
  }

  draw(camera) {
    this.asked = { ...camera.now };
    const { x, y, scale } = camera.now;
    const viewport = this.viewer.viewport;
    const centre = this.isMirrored ? mirrorX(x, this.width) : x;
    this.refit(camera, centre);
    viewport.zoomTo(1 / (scale * camera.size[0]), null, true);
    viewport.panTo(new window.OpenSeadragon.Point(centre, y), true);
  }

  // The library draws a frame later; what it has drawn until then is carried to where it belongs.
  arrived() {
    this.drawn = this.asked;
    this.carry();
  }

  carry() {
    const { now, drawn } = this;
    if (!now || !drawn) {
      return;
    }
    const zoom = drawn.scale / now.scale;
    const [x, y] = [
      (drawn.x - now.x) / now.scale + (now.size[0] / 2) * (1 - zoom),
      (drawn.y - now.y) / now.scale + (now.size[1] / 2) * (1 - zoom),
    ];
    const isThere = Math.abs(x) + Math.abs(y) < 0.01 && Math.abs(zoom - 1) < 1e-6;
    this.carried.style.transform = isThere ? "" : `translate(${x}px, ${y}px) scale(${zoom})`;
  }

  // A placement with a keystone is fitted anew to the part in view, so that the spot looked at is
  // where it says, however large the picture is.
  refit(camera, centre) {
    for (const placed of this.placed) {
      if (!placed.item || placed.isFixed) {
        continue;
      }
      const { width, height } = camera.box;
      const box = { x: centre - width / 2, y: camera.box.y, width, height };
      const { tile } = placed;
      const part = pictureBox(tile.placement, box, tile.width, tile.height);
      const to = this.positionOf(placed, part);
      const was = placed.fit;
      if (was && Math.abs(was.x - to.x) + Math.abs(was.y - to.y) + Math.abs(was.width - to.width) < MOVED_MM) {
        continue;
      }
      placed.fit = to;
      placed.item.setRotation(to.degrees, true);
      placed.item.setWidth(to.width, true);
      placed.item.setPosition(new window.OpenSeadragon.Point(to.x, to.y), true);
    }
  }

  remove() {
    this.viewer.destroy();
    this.element.remove();
    this.caption.remove();
    this.turner?.remove();
  }
}

export function exposureOf(picture, ev) {
  const { exposures } = picture;
  const middle = exposures.reduce((best, each) =>
    Math.abs(each.ev) < Math.abs(best.ev) ? each : best,
  );
  return exposures.find((each) => each.ev === ev) ?? middle;
}

function sourceOf(tile) {
  return tile.info ?? { type: "image", url: tile.src, buildPyramid: false };
}
