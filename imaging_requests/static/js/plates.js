// Lets tiles of the plate map be dragged onto each other: their chosen places are exchanged. The
// form's own choices stay the truth, so the same is done by keyboard and without this script.

const form = document.querySelector("[data-plates]");

function placeOf(tile) {
  return tile.querySelector("select[name^=place_]");
}

function exchange(one, other) {
  const [first, second] = [placeOf(one), placeOf(other)];
  [first.value, second.value] = [second.value, first.value];
  for (const choice of [first, second]) {
    choice.dispatchEvent(new Event("change", { bubbles: true }));
  }
  placeOf(other).focus();
}

function markMoved(tile) {
  tile.classList.toggle("plates__tile--moved", placeOf(tile).value !== tile.dataset.place);
}

if (form) {
  const tiles = [...form.querySelectorAll("[data-plate]")];
  let dragged = null;
  form.querySelector("[data-plates-hint]").hidden = false;
  for (const tile of tiles) {
    tile.draggable = true;
    tile.addEventListener("dragstart", (event) => {
      dragged = tile;
      event.dataTransfer.effectAllowed = "move";
      event.dataTransfer.setData("text/plain", tile.dataset.place);
    });
    tile.addEventListener("dragend", () => {
      dragged = null;
    });
    tile.addEventListener("dragover", (event) => {
      if (dragged && dragged !== tile) {
        event.preventDefault();
      }
    });
    tile.addEventListener("drop", (event) => {
      event.preventDefault();
      if (dragged && dragged !== tile) {
        exchange(dragged, tile);
      }
    });
    tile.addEventListener("change", () => markMoved(tile));
    markMoved(tile);
  }
}
