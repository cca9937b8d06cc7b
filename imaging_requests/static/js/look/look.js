// Look and compare: every picture of an object at the same spot. One camera in mm of the face;
// one pane for each picture; the ways of looking are only ways of laying panes.

import { Camera } from "./camera.js";
import { caption } from "./captions.js";
import { Controls } from "./controls.js";
import { millimetres, mirrorX } from "./geometry.js";
import { Hand } from "./hand.js";
import { Keys } from "./keys.js";
import { Narrow } from "./narrow.js";
import { NoteDialog } from "./note.js";
import { notesOver, Overlay } from "./overlay.js";
import { Pace } from "./pace.js";
import { exposureOf, Pane } from "./pane.js";
import { restWhenUntouched } from "./rest.js";
import { restsOn } from "./scale.js";
import { asQuery } from "./sight.js";
import { Tools } from "./tools.js";

const LETTERS = "ABCD";
const STACKED = ["one", "fade", "split", "blink"];
// Ways of looking at two pictures. Until it is known what a pair is worth, all are open.
const PAIRS = ["fade", "split", "blink", "side"];
const PAIRED = ["fade", "split", "blink"];
const BLINK_MS = 900;
const ADDRESS_MS = 400;
const REST_MS = 90;
const BESIDE = ["IR", "UV", "XR", "RK", "VC", "VF"];
const STEP = 0.12;
const FINE_PX = 4;
const CLOSER = 1.35;
const MIX_STEP = 5;
const still = matchMedia("(prefers-reduced-motion: reduce)");

class Look {
  constructor(look, data) {
    this.look = look;
    this.data = data;
    this.sight = data.sight;
    this.byId = new Map(data.pictures.map((each) => [each.id, each]));
    this.sides = [];
    this.shown = [];
    this.chosenOn = new Map();
    this.allowed = data.pair?.modes ?? PAIRS;
    this.weighed = data.pair ? this.compared() : "";
    this.isBlinkedAway = false;
    this.panes = look.querySelector("[data-look-panes]");
    this.read = look.querySelector("[data-look-read]");
    this.read.hidden = false;
    this.panes.replaceChildren(this.read);
    this.narrow = new Narrow(this.panes, this.read, {
      changed: () => this.lay(),
      turned: () => this.veil(),
      opened: (place) => this.alone(place),
    });
    document.documentElement.classList.add("look--live");
    this.camera = new Camera(() => this.draw());
    this.pace = new Pace();
    this.tools = new Tools(this.panes, this.camera, {
      measured: (line) => this.measured(line),
      drawn: (shape, points) => this.ask(shape, points),
      changed: () => this.camera.changed(),
    });
    this.tools.take("move");
    this.acts = this.makeActs();
    this.controls = new Controls(look, data, this.sight, this.acts);
    this.keys = new Keys(look.querySelector('[data-do="keys"]'), this.makeKeys());
    this.hand = new Hand(this.panes, this.camera, {
      start: (spot, pane) => this.tools.start(spot, pane),
      move: (spot) => this.tools.move(spot),
      end: (spot, isTap) => this.tools.end(spot, isTap),
      drop: () => this.tools.drop(),
      point: (spot) => this.point(spot),
      twice: (spot) => this.twice(spot),
    });
    const dialog = document.querySelector("[data-look-dialog]");
    this.dialog = dialog && new NoteDialog(dialog, { closed: () => this.tools.give() });
    this.divide = document.createElement("div");
    this.divide.className = "look__divide";
    this.divide.addEventListener("pointerdown", (event) => this.grabDivide(event));
    this.panes.addEventListener("placed", () => {
      this.pace.drawn = null;
      this.camera.changed();
    });
    this.frame();
    this.lay();
    this.fit();
    this.open();
    this.permit();
    new ResizeObserver(() => this.fit()).observe(this.panes);
    setInterval(() => this.blink(), BLINK_MS);
  }

  // What the address asked for, once the size of a pane is known.
  open() {
    const { sight } = this;
    if (sight.centre) {
      this.camera.showPart(sight.centre, sight.across);
    } else {
      this.camera.showWhole(true);
    }
    if (sight.note !== null && !sight.centre) {
      this.showNote(sight.note);
    }
    this.panes.focus({ preventScroll: true });
  }

  frame() {
    const own = this.data.pictures.filter((each) => each.plane === this.sight.face);
    const size = this.sight.face === "E" ? null : this.data.sizeMm;
    this.camera.setWhole(own.length ? own : this.data.pictures, size);
  }

  picturesInMode() {
    const { sight } = this;
    const chosen = sight.pictures.map(({ id, ev }) => ({ picture: this.byId.get(id), ev }));
    if (sight.mode === "grid") {
      return this.data.pictures
        .filter((each) => each.plane === sight.face)
        .map((picture) => chosen.find((each) => each.picture === picture) ?? { picture, ev: null });
    }
    if (sight.mode === "one") {
      return chosen.slice(0, 1);
    }
    return PAIRED.includes(sight.mode) ? chosen.slice(0, 2) : chosen;
  }

  mirrorWidth(picture) {
    const isTurned = this.data.sizeMm && picture.plane !== this.sight.face && this.sight.face !== "E";
    return isTurned ? this.data.sizeMm[0] : 0;
  }

  lay() {
    const { sight } = this;
    if (sight.mode !== "one" && sight.mode !== "grid" && sight.pictures.length < 2) {
      this.addSecond();
    }
    this.shown = this.picturesInMode();
    while (this.sides.length > this.shown.length) {
      const { pane } = this.sides.pop();
      pane.remove();
    }
    while (this.sides.length < this.shown.length) {
      const pane = new Pane(this.panes);
      this.sides.push({ pane, overlay: new Overlay(pane) });
    }
    const isStacked = this.isStacked();
    this.narrow.place(this.sides, sight.mode);
    this.panes.toggleAttribute("data-stacked", isStacked);
    this.panes.toggleAttribute("data-many", sight.mode === "grid");
    this.panes.style.setProperty("--across", String(isStacked ? 1 : this.across()));
    this.shown.forEach(({ picture, ev }, place) => {
      this.sides[place].pane.show(picture, ev, this.mirrorWidth(picture));
    });
    if (sight.mode === "split") {
      this.panes.append(this.divide);
    } else {
      this.divide.remove();
    }
    this.isBlinkedAway = false;
    this.pace.drawn = null;
    this.controls.show(this.shown, this.allowed);
    this.say();
    this.veil();
    this.fit();
    this.camera.changed();
  }

  isStacked() {
    return STACKED.includes(this.sight.mode) || this.narrow.isOneUp(this.sight.mode);
  }

  // How many panes stand beside each other, so that each is as large as it can be.
  across() {
    const { width, height } = this.camera.whole;
    const box = this.panes.getBoundingClientRect();
    const count = this.shown.length;
    let best = { scale: Number.POSITIVE_INFINITY, across: 1 };
    for (let across = 1; across <= count; across += 1) {
      const down = Math.ceil(count / across);
      const scale = Math.max(width / (box.width / across), height / (box.height / down));
      if (scale < best.scale) {
        best = { scale, across };
      }
    }
    return best.across;
  }

  addSecond() {
    const { sight } = this;
    const first = this.byId.get(sight.pictures[0].id);
    const own = this.data.pictures.filter((each) => each.plane === sight.face && each !== first);
    const rank = (each) => BESIDE.indexOf(each.technique) + (each.technique === first.technique ? 10 : 0);
    const second = own.sort((one, two) => rank(one) - rank(two) || two.id - one.id)[0];
    if (second) {
      sight.pictures.push({ id: second.id, ev: null });
      this.weigh();
    } else {
      sight.mode = "one";
    }
  }

  fit() {
    const glass = this.sides[0]?.pane.glass;
    if (glass) {
      if (!this.isStacked()) {
        this.panes.style.setProperty("--across", String(this.across()));
      }
      const box = glass.getBoundingClientRect();
      this.camera.resize(box.width, box.height);
    }
  }

  // How far the upper picture covers the lower one.
  veil() {
    const { mode, mix } = this.sight;
    this.sides.forEach(({ pane }, place) => {
      const { style, classList } = pane.host;
      const isUpper = place === 1 && PAIRED.includes(mode);
      classList.toggle("look__host--upper", isUpper);
      const isBlinked = mode === "blink" && (place === 1) === this.isBlinkedAway;
      classList.toggle("look__host--away", isBlinked || !this.narrow.isInView(mode, place));
      classList.toggle("look__host--inverted", this.isInverted(pane.picture));
      style.opacity = isUpper && mode === "fade" ? String(mix / 100) : "";
      style.clipPath = isUpper && mode === "split" ? `inset(0 0 0 ${mix}%)` : "";
    });
    this.divide.style.left = `${mix}%`;
    this.narrow.mark(this.sides, mode);
    this.name();
  }

  isInverted(picture) {
    return this.sight.inverted && picture.technique === "XR";
  }

  name() {
    const { mode, face } = this.sight;
    this.sides.forEach(({ pane }, place) => {
      const isAway = mode === "blink" && (place === 1) === this.isBlinkedAway;
      caption(pane.caption, {
        letter: mode === "grid" ? "" : LETTERS[place],
        isShort: mode === "grid",
        picture: pane.picture,
        ev: pane.ev,
        isMirrored: pane.isMirrored,
        isInverted: this.isInverted(pane.picture),
        face,
        isAway,
      });
    });
  }

  say() {
    const pictures = this.shown.map(({ picture }) => picture);
    this.look.querySelector("[data-look-rests]").textContent = restsOn(pictures);
    if (this.compared() !== this.weighed) {
      this.weigh();
    }
  }

  // The pictures that are held against each other: all that stand side by side, else the first two.
  get together() {
    return this.sight.pictures.slice(0, this.sight.mode === "side" ? LETTERS.length : 2);
  }

  compared() {
    return this.together.map((each) => each.id).join();
  }

  // Ask what a comparison of each picture with the first is worth; the first two decide which
  // ways of looking are open.
  async weigh() {
    const { together } = this;
    const two = together.slice(0, 2);
    this.weighed = this.compared();
    this.allowed = PAIRS;
    const honest = this.look.querySelector("[data-look-honest]");
    this.offerMap(two, false);
    if (two.length < 2) {
      honest.textContent = "One picture; choose a second one to compare.";
      return;
    }
    const asked = this.weighed;
    try {
      const pairs = await Promise.all(together.slice(1).map((each) => this.pairWith(two[0], each)));
      if (asked !== this.weighed) {
        return;
      }
      honest.replaceChildren(...pairs.flatMap((pair, place) => sentence(pair, place, pairs.length)));
      this.offerMap(two, pairs[0].isOneView);
      this.allowed = pairs[0].modes;
    } catch {
      honest.textContent = "Not known: the answer about these two pictures did not come. Reload the page.";
      this.allowed = ["side"];
    }
    this.permit();
  }

  async pairWith(one, other) {
    const query = new URLSearchParams([one, other].map((each) => ["p", String(each.id)]));
    const answer = await fetch(`${this.data.pairAddress}?${query}`);
    return answer.json();
  }

  // What changed can be asked for two pictures of one view only.
  offerMap(two, isOneView) {
    const form = this.look.querySelector("[data-look-map]");
    if (!form) {
      return;
    }
    form.hidden = !isOneView;
    form.querySelectorAll('input[name="p"]').forEach((input) => input.remove());
    two.forEach((each) => {
      const input = document.createElement("input");
      input.type = "hidden";
      input.name = "p";
      input.value = each.id;
      form.append(input);
    });
  }

  permit() {
    const { sight } = this;
    const isOpen = ["one", "grid"].includes(sight.mode) || this.allowed.includes(sight.mode);
    if (!isOpen && sight.pictures.length > 1) {
      sight.mode = this.allowed.includes("side") ? "side" : "one";
      this.lay();
    } else {
      this.controls.show(this.shown, this.allowed);
    }
  }

  draw() {
    const { sight, camera } = this;
    const width = this.data.sizeMm?.[0] ?? 0;
    const notes = sight.notes
      ? notesOver(this.data.notes, sight.face, width, this.shown.some(({ picture }) => this.mirrorWidth(picture)))
      : [];
    const measure =
      this.tools.name === "measure" && this.tools.outline.length === 2
        ? this.tools.outline.flat()
        : sight.measure;
    const mayDraw = this.pace.mayDraw(performance.now(), camera);
    clearTimeout(this.resting);
    if (!mayDraw) {
      this.resting = setTimeout(() => this.rest(), REST_MS);
    }
    for (const { pane, overlay } of this.sides) {
      pane.look(camera, mayDraw);
      overlay.draw(camera, {
        notes,
        chosenNote: sight.note,
        measure,
        region: this.tools.name === "measure" ? null : this.tools.outline,
        hasCross: this.tools.isDrawing,
        isRaised: this.sides.length > 1 && !this.isStacked() && !this.narrow.is,
      });
    }
    if (!this.pointed || this.tools.isAtCross) {
      this.readOut([camera.now.x, camera.now.y], measure);
    }
    this.keepAddress();
  }

  // Where the view has come to rest, the pictures are drawn in full.
  rest() {
    for (const { pane } of this.sides) {
      pane.look(this.camera, true);
    }
  }

  point(spot) {
    this.pointed = true;
    const { tools } = this;
    if (tools.points.length && !tools.isAtCross && tools.isDrawing) {
      tools.move(spot);
    }
    this.readOut(this.camera.toMm(...spot), this.sight.measure);
  }

  readOut([x, y], measure) {
    const face = this.data.faces[this.sight.face].toLowerCase();
    let words = `${face}: ${millimetres(x)} from the left, ${millimetres(y)} from the top`;
    if (measure) {
      const [dx, dy] = [measure[2] - measure[0], measure[3] - measure[1]];
      words += ` · length ${millimetres(Math.hypot(dx, dy))} (${millimetres(Math.abs(dx))} across, ${millimetres(Math.abs(dy))} down)`;
    }
    this.read.textContent = words;
  }

  // The address follows at a steady pace, also while the view still moves; browsers allow so many
  // changes and no more.
  keepAddress() {
    this.keeping ||= setTimeout(() => {
      this.keeping = 0;
      const query = `?${this.query()}`;
      if (query !== location.search) {
        history.replaceState(null, "", query);
      }
    }, ADDRESS_MS);
  }

  query() {
    const { camera, sight } = this;
    const { x, y, scale } = camera.goal;
    sight.centre = camera.isWhole ? null : [x, y];
    sight.across = camera.isWhole ? null : scale * camera.size[0];
    return asQuery(sight);
  }

  blink() {
    if (this.sight.mode === "blink" && !still.matches && !document.hidden) {
      this.turnBlink();
    }
  }

  turnBlink() {
    this.isBlinkedAway = !this.isBlinkedAway;
    this.veil();
  }

  // The other picture, where one is seen at a time.
  showOther() {
    const { mode } = this.sight;
    if (mode === "blink") {
      this.turnBlink();
    } else if (this.narrow.isOneUp(mode)) {
      this.narrow.turn(1, this.sides.length);
      this.veil();
    }
  }

  // One picture of the grid by itself.
  alone(place) {
    const { picture, ev } = this.shown[place];
    const others = this.sight.pictures.filter(({ id }) => id !== picture.id);
    this.sight.pictures = [{ id: picture.id, ev }, ...others].slice(0, LETTERS.length);
    this.acts.mode("one");
    this.panes.focus();
  }

  grabDivide(event) {
    event.preventDefault();
    this.divide.setPointerCapture(event.pointerId);
    this.divide.onpointermove = (moved) => {
      const box = this.panes.getBoundingClientRect();
      this.acts.mix(Math.min(Math.max(((moved.clientX - box.left) / box.width) * 100, 0), 100));
    };
    this.divide.onpointerup = () => {
      this.divide.onpointermove = null;
    };
  }

  twice(spot) {
    if (this.tools.name === "polygon") {
      this.tools.close();
    } else if (!this.tools.isDrawing) {
      this.camera.zoom(2, spot);
    }
  }

  measured(line) {
    this.sight.measure = line;
    this.readOut(line.slice(2), line);
    this.controls.show(this.shown, this.allowed);
    this.camera.changed();
  }

  // Take the measured line away again.
  unmeasure() {
    this.sight.measure = null;
    this.controls.show(this.shown, this.allowed);
    this.camera.changed();
  }

  ask(shape, points) {
    const { pane } = this.sides[this.narrow.isOneUp(this.sight.mode) ? this.narrow.at : 0];
    this.dialog?.ask(shape, points, { pane, sizeMm: this.data.sizeMm, query: this.query() });
  }

  showNote(pk) {
    const note = this.data.notes.find((each) => each.pk === pk);
    if (!note) {
      return;
    }
    if (note.face !== this.sight.face) {
      this.turn(note.face);
    }
    this.sight.note = pk;
    this.sight.notes = true;
    const xs = note.points.map(([x]) => x);
    const ys = note.points.map(([, y]) => y);
    const middle = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
    const span = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys), 1);
    this.camera.showPart(middle, span * 3, false);
    this.controls.show(this.shown, this.allowed);
  }

  // Turn the object over: the same spot, seen from the other side.
  turn(face) {
    const { sight } = this;
    if (face === sight.face) {
      return;
    }
    const flips = face !== "E" && sight.face !== "E" && this.data.sizeMm;
    this.chosenOn.set(sight.face, sight.pictures);
    sight.face = face;
    const own = this.data.pictures.filter((each) => each.plane === face);
    const kept = sight.pictures.filter(({ id }) => this.byId.get(id).plane === face);
    const begun = kept.length ? kept : [{ id: own[0].id, ev: null }];
    sight.pictures = this.chosenOn.get(face) ?? begun;
    sight.measure = null;
    this.frame();
    this.controls.offer();
    const { x, y, scale } = this.camera.goal;
    if (this.camera.isWhole || !flips) {
      this.camera.showWhole(true);
    } else {
      this.camera.go({ x: mirrorX(x, this.data.sizeMm[0]), y, scale }, true);
    }
    this.lay();
  }

  makeActs() {
    return {
      face: (face) => this.turn(face),
      pick: (values) => {
        const before = this.sight.pictures;
        this.sight.pictures = values
          .filter(Boolean)
          .map(Number)
          .filter((id, place, all) => all.indexOf(id) === place)
          .map((id) => before.find((each) => each.id === id) ?? { id, ev: null });
        if (this.sight.mode === "one" && this.sight.pictures.length > before.length) {
          this.sight.mode = "side";
        }
        this.lay();
      },
      mode: (mode) => {
        this.sight.mode = mode;
        this.lay();
        this.permit();
      },
      tool: (name) => {
        this.tools.take(name);
        this.controls.tool(name);
        this.panes.focus();
      },
      mix: (value) => {
        this.sight.mix = value;
        this.controls.show(this.shown, this.allowed);
        this.veil();
        this.keepAddress();
      },
      exposure: (place, step) => this.expose(place, step),
      invert: () => {
        this.sight.inverted = !this.sight.inverted;
        this.controls.show(this.shown, this.allowed);
        this.veil();
        this.keepAddress();
      },
      notes: () => {
        this.sight.notes = !this.sight.notes;
        this.controls.show(this.shown, this.allowed);
        this.camera.changed();
      },
      further: () => this.camera.zoom(1 / CLOSER),
      closer: () => this.camera.zoom(CLOSER),
      whole: () => this.camera.showWhole(),
      swap: () => {
        const { pictures } = this.sight;
        if (pictures.length > 1) {
          [pictures[0], pictures[1]] = [pictures[1], pictures[0]];
          this.lay();
        }
      },
      unmeasure: () => this.unmeasure(),
      link: () => this.copyLink(),
    };
  }

  expose(place, step) {
    const chosen = this.sight.pictures[place];
    const picture = chosen && this.byId.get(chosen.id);
    const exposure = picture?.exposures[Math.min(Math.max(step, 0), picture.exposures.length - 1)];
    if (!exposure) {
      return;
    }
    chosen.ev = exposure.ev;
    this.shown = this.picturesInMode();
    this.sides[place]?.pane.expose(exposure.ev);
    this.controls.show(this.shown, this.allowed);
    this.name();
    this.camera.changed();
  }

  async copyLink() {
    const button = this.look.querySelector('[data-do="link"]');
    const address = `${location.origin}${location.pathname}?${this.query()}`;
    history.replaceState(null, "", address);
    try {
      await navigator.clipboard.writeText(address);
      button.textContent = "Link copied";
    } catch {
      button.textContent = "The link stands in the address line";
    }
    setTimeout(() => {
      button.textContent = "Copy link";
    }, 3000);
  }

  next(step) {
    const own = this.data.pictures.filter((each) => each.plane === this.sight.face);
    const at = own.findIndex((each) => each.id === this.sight.pictures[0].id);
    const found = own[(at + step + own.length) % own.length];
    this.sight.pictures[0] = { id: found.id, ev: null };
    this.sight.pictures = this.sight.pictures.filter(({ id }, place) => place === 0 || id !== found.id);
    this.lay();
  }

  makeKeys() {
    const { camera, tools } = this;
    const shift = (x, y) => (event) => {
      this.pointed = false;
      const [dx, dy] = event.shiftKey ? [FINE_PX, FINE_PX] : camera.size.map((side) => side * STEP);
      camera.shift(x * dx, y * dy);
    };
    const acts = this.acts;
    const take = (name) => () => acts.tool(tools.name === name ? "move" : name);
    const exposure = (step) => () => {
      const { id, ev } = this.sight.pictures[0];
      const picture = this.byId.get(id);
      this.expose(0, picture.exposures.indexOf(exposureOf(picture, ev)) + step);
    };
    const mix = (step) => () => acts.mix(Math.min(Math.max(this.sight.mix + step, 0), 100));
    const modes = Object.fromEntries(
      ["one", "fade", "split", "blink", "side", "grid"].map((mode, place) => [
        String(place + 1),
        () => {
          if (["one", "grid"].includes(mode) || this.allowed.includes(mode)) {
            acts.mode(mode);
          }
        },
      ]),
    );
    return {
      ...modes,
      ArrowLeft: shift(-1, 0),
      ArrowRight: shift(1, 0),
      ArrowUp: shift(0, -1),
      ArrowDown: shift(0, 1),
      "+": acts.closer,
      "=": acts.closer,
      "-": acts.further,
      0: acts.whole,
      "[": mix(-MIX_STEP),
      "]": mix(MIX_STEP),
      ",": exposure(-1),
      ".": exposure(1),
      " ": () => this.showOther(),
      n: () => this.next(1),
      p: () => this.next(-1),
      x: acts.swap,
      i: acts.invert,
      h: acts.notes,
      l: acts.link,
      t: () => {
        const faces = [...new Set(this.data.pictures.map((each) => each.plane))];
        this.turn(faces[(faces.indexOf(this.sight.face) + 1) % faces.length]);
      },
      m: take("measure"),
      r: () => this.dialog && take("rectangle")(),
      o: () => this.dialog && take("polygon")(),
      Enter: (event) => (event.shiftKey ? tools.close() : tools.set()),
      Escape: () => (tools.isDrawing ? acts.tool("move") : acts.unmeasure()),
      Delete: acts.unmeasure,
      Backspace: acts.unmeasure,
    };
  }
}

// One pair's sentence on a line of its own, with its letters where there are several.
function sentence(pair, place, count) {
  if (count === 1) {
    return [pair.sentence];
  }
  const words = `A and ${LETTERS[place + 1]}: ${pair.sentence}`;
  return place ? [document.createElement("br"), words] : [words];
}

const look = document.querySelector("[data-look]");
const data = document.getElementById("look-data");

if (look && data && window.OpenSeadragon && look.querySelector("[data-look-panes]")) {
  const shown = new Look(look, JSON.parse(data.textContent));
  for (const panel of look.querySelectorAll("[data-look-panel]")) {
    panel.open = false;
  }
  look.querySelector("[data-look-keys]").hidden = false;
  for (const link of look.querySelectorAll("[data-note]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      link.closest("details").open = false;
      shown.showNote(Number(link.dataset.note));
    });
  }
  restWhenUntouched(look);
}
