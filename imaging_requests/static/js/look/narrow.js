// A window too narrow for pictures beside each other: they lie at the same spot, one at a time, and
// what each one is stands below in words. A button with these words brings its picture into view.

const NARROW = matchMedia("(max-width: 600px), (max-height: 480px)");
const ONE_UP = "Too narrow for pictures side by side: they lie at the same spot, one at a time.";

export class Narrow {
  constructor(panes, read, { changed, turned, opened }) {
    this.panes = panes;
    this.read = read;
    this.on = { turned, opened };
    this.at = 0;
    this.words = document.createElement("div");
    this.words.className = "look__words";
    this.words.setAttribute("role", "group");
    this.words.setAttribute("aria-label", "The pictures in words");
    this.why = document.createElement("p");
    this.why.className = "quiet";
    this.why.textContent = ONE_UP;
    panes.after(this.words);
    NARROW.addEventListener("change", changed);
  }

  get is() {
    return NARROW.matches;
  }

  isOneUp(mode) {
    return this.is && mode === "side";
  }

  // Whether the picture at this place is the one in view.
  isInView(mode, place) {
    return !this.isOneUp(mode) || place === this.at;
  }

  turn(step, count) {
    this.at = (this.at + step + count) % count;
  }

  // Words go below the pictures, in a grid below each; in a wide window back onto the pictures.
  place(sides, mode) {
    this.at = Math.min(this.at, sides.length - 1);
    this.words.hidden = !this.is;
    (this.is ? this.words : this.panes).append(this.read);
    sides.forEach(({ pane }, place) => {
      const holder = this.is && mode !== "grid" ? this.words : pane.element;
      const isButton = this.is && (mode === "grid" || this.isOneUp(mode));
      const held = isButton ? this.button(pane, place, mode) : pane.caption;
      if (!isButton) {
        pane.turner?.remove();
      }
      holder.append(held);
    });
    if (this.isOneUp(mode)) {
      this.words.prepend(this.why);
    } else {
      this.why.remove();
    }
    this.words.append(...(this.is ? [this.read] : []));
    this.mark(sides, mode);
  }

  button(pane, place, mode) {
    pane.turner ??= makeTurner();
    pane.turner.prepend(pane.caption);
    pane.turner.onclick = () => (mode === "grid" ? this.on.opened(place) : this.show(place));
    return pane.turner;
  }

  show(place) {
    this.at = place;
    this.on.turned();
  }

  mark(sides, mode) {
    if (!this.is) {
      return;
    }
    sides.forEach(({ pane }, place) => {
      if (!pane.turner) {
        return;
      }
      const isHere = this.isOneUp(mode) && place === this.at;
      pane.turner.lastChild.textContent = mode === "grid" ? "Open" : isHere ? "In view" : "Show";
      if (mode === "grid") {
        pane.turner.removeAttribute("aria-pressed");
      } else {
        pane.turner.setAttribute("aria-pressed", String(isHere));
      }
    });
  }
}

function makeTurner() {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "look__turner";
  const act = document.createElement("span");
  act.className = "look__turner-act";
  button.append(act);
  return button;
}
