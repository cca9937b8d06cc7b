// Lets tiles of the plate map change places, by dragging one onto another or by choosing a place:
// the tile that lay there goes to the place that came free, and both are shown where they now lie.
// The form's own choices stay the truth, so the page works without this script.

const form = document.querySelector("[data-plates]");
const said = form?.querySelector("[data-plates-said]");

function placeOf(tile) {
  return tile.querySelector("select[name^=place_]");
}

function nameOf(tile) {
  return tile.querySelector("b").textContent;
}

/** Show every tile in the cell of its chosen place, if each place is chosen once. */
function lay(tiles) {
  const chosen = new Map(tiles.map((tile) => [placeOf(tile).value, tile]));
  if (chosen.size < tiles.length) {
    return;
  }
  const focused = document.activeElement;
  for (const [place, tile] of chosen) {
    const cell = form.querySelector(`[data-spot="${place}"]`);
    if (cell && tile.parentElement !== cell) {
      cell.append(tile);
    }
    tile.classList.toggle("plates__tile--moved", place !== tile.dataset.place);
  }
  for (const empty of form.querySelectorAll("[data-spot-empty]")) {
    empty.hidden = Boolean(empty.parentElement.querySelector("[data-plate]"));
  }
  if (form.contains(focused)) {
    focused.focus();
  }
}

function exchange(one, other, tiles) {
  const [first, second] = [placeOf(one), placeOf(other)];
  [first.value, second.value] = [second.value, first.value];
  one.dataset.held = first.value;
  other.dataset.held = second.value;
  lay(tiles);
  said.textContent = `${nameOf(one)} and ${nameOf(other)} have changed places.`;
}

/** A place was chosen for a tile: who lay there takes the place that came free. */
function chose(tile, tiles) {
  const [left, wanted] = [tile.dataset.held, placeOf(tile).value];
  const other = tiles.find((each) => each !== tile && placeOf(each).value === wanted);
  tile.dataset.held = wanted;
  if (other) {
    placeOf(other).value = left;
    other.dataset.held = left;
    said.textContent = `${nameOf(tile)} and ${nameOf(other)} have changed places.`;
  }
  lay(tiles);
}

// Near an edge the map or the page moves along, so that every place can be reached.
const EDGE_PX = 40;
const STEP_PX = 12;

function moveAlong(frame, { clientX, clientY }) {
  const box = frame.getBoundingClientRect();
  const [left, right] = [Math.max(box.left, 0), Math.min(box.right, innerWidth)];
  frame.scrollBy(step(clientX, left, right), 0);
  window.scrollBy(0, step(clientY, 0, innerHeight));
}

function step(at, low, high) {
  return at < low + EDGE_PX ? -STEP_PX : at > high - EDGE_PX ? STEP_PX : 0;
}

/** Carries one tile at a time with mouse, pen or finger; a finger holds the grip, so that a finger
 * on the picture still scrolls. */
class Carrying {
  constructor(tiles) {
    this.tiles = tiles;
    this.frame = form.querySelector(".table-frame");
    this.tile = null;
    this.aim = null;
    document.addEventListener("keydown", (event) => event.key === "Escape" && this.drop(false));
  }

  begin(tile, event) {
    if (this.tile || event.button > 0) {
      return;
    }
    event.preventDefault();
    this.tile = tile;
    this.last = event;
    tile.classList.add("plates__tile--held");
    tile.setPointerCapture(event.pointerId);
    this.walking = setInterval(() => this.walk(), 30);
  }

  move(event) {
    if (this.tile) {
      this.last = event;
      this.look();
    }
  }

  walk() {
    moveAlong(this.frame, this.last);
    this.look();
  }

  /** The tile below the pointer, if it is another one. */
  look() {
    const below = document.elementFromPoint(this.last.clientX, this.last.clientY);
    const found = below?.closest("[data-plate]");
    const aim = found && found !== this.tile ? found : null;
    if (aim !== this.aim) {
      this.aim?.classList.remove("plates__tile--aim");
      aim?.classList.add("plates__tile--aim");
      this.aim = aim;
    }
  }

  drop(isMeant) {
    const { tile, aim } = this;
    clearInterval(this.walking);
    tile?.classList.remove("plates__tile--held");
    aim?.classList.remove("plates__tile--aim");
    this.tile = null;
    this.aim = null;
    if (isMeant && tile && aim) {
      exchange(tile, aim, this.tiles);
    }
  }
}

function gripOf(tile) {
  const grip = document.createElement("span");
  grip.className = "plates__grip";
  grip.setAttribute("aria-hidden", "true");
  tile.prepend(grip);
  return grip;
}

if (form) {
  const tiles = [...form.querySelectorAll("[data-plate]")];
  const carrying = new Carrying(tiles);
  form.querySelector("[data-plates-hint]").hidden = false;
  for (const tile of tiles) {
    tile.dataset.held = placeOf(tile).value;
    tile.classList.add("plates__tile--loose");
    const grip = gripOf(tile);
    tile.addEventListener("pointerdown", (event) => {
      const isGrip = event.target === grip;
      if (isGrip || (event.pointerType === "mouse" && !event.target.closest("select, label"))) {
        carrying.begin(tile, event);
      }
    });
    tile.addEventListener("pointermove", (event) => carrying.move(event));
    tile.addEventListener("pointerup", () => carrying.drop(true));
    tile.addEventListener("pointercancel", () => carrying.drop(false));
    placeOf(tile).addEventListener("change", () => chose(tile, tiles));
    const turn = tile.querySelector("select[name^=turn_]");
    turn.addEventListener("change", () => {
      tile.dataset.turn = turn.value;
    });
  }
  lay(tiles);
}
