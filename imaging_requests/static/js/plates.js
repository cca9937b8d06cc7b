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

if (form) {
  const tiles = [...form.querySelectorAll("[data-plate]")];
  let dragged = null;
  form.querySelector("[data-plates-hint]").hidden = false;
  for (const tile of tiles) {
    tile.draggable = true;
    tile.dataset.held = placeOf(tile).value;
    tile.addEventListener("dragstart", (event) => {
      dragged = tile;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", nameOf(tile));
    });
    tile.addEventListener("dragend", () => {
      dragged?.classList.remove("plates__tile--aim");
      dragged = null;
    });
    tile.addEventListener("dragover", (event) => {
      if (dragged && dragged !== tile) {
        event.preventDefault();
        tile.classList.add("plates__tile--aim");
      }
    });
    tile.addEventListener("dragleave", () => tile.classList.remove("plates__tile--aim"));
    tile.addEventListener("drop", (event) => {
      event.preventDefault();
      tile.classList.remove("plates__tile--aim");
      if (dragged && dragged !== tile) {
        exchange(dragged, tile, tiles);
      }
    });
    placeOf(tile).addEventListener("change", () => chose(tile, tiles));
    const turn = tile.querySelector("select[name^=turn_]");
    turn.addEventListener("change", () => {
      tile.dataset.turn = turn.value;
    });
  }
  lay(tiles);
}
