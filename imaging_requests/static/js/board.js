// Walks a board with the arrow keys: one stop for the Tab key, then cell by cell. Home and End go
// to the ends of the row, Page Up and Page Down ten rows. Without this file every cell is a stop.

const ROWS_PER_PAGE = 10;

function links(row) {
  return [...row.querySelectorAll("a")];
}

function columnOf(link) {
  return link.closest("th, td").cellIndex;
}

function nearest(row, column) {
  let best = null;
  for (const link of links(row)) {
    const distance = Math.abs(columnOf(link) - column);
    if (best === null || distance < best.distance) {
      best = { link, distance };
    }
  }
  return best?.link;
}

function along(rows, from, step, column) {
  for (let index = from + step; index >= 0 && index < rows.length; index += Math.sign(step)) {
    const link = nearest(rows[index], column);
    if (link) {
      return link;
    }
  }
  return undefined;
}

function target(rows, link, key) {
  const row = link.closest("tr");
  const inRow = links(row);
  const place = inRow.indexOf(link);
  const from = rows.indexOf(row);
  switch (key) {
    case "ArrowLeft":
      return inRow[place - 1];
    case "ArrowRight":
      return inRow[place + 1];
    case "Home":
      return inRow[0];
    case "End":
      return inRow.at(-1);
    case "ArrowUp":
      return along(rows, from, -1, columnOf(link));
    case "ArrowDown":
      return along(rows, from, 1, columnOf(link));
    case "PageUp":
      return along(rows, Math.max(from - ROWS_PER_PAGE, 0) + 1, -1, columnOf(link));
    case "PageDown":
      return along(rows, Math.min(from + ROWS_PER_PAGE, rows.length - 1) - 1, 1, columnOf(link));
    default:
      return undefined;
  }
}

function walk(board) {
  const body = () => [...board.querySelectorAll("tbody tr")];
  const all = [...board.querySelectorAll("tbody a")];
  if (all.length === 0 || board.dataset.walked) {
    return;
  }
  board.dataset.walked = "yes";
  let current = all[0];
  for (const link of all) {
    link.tabIndex = link === current ? 0 : -1;
  }
  board.addEventListener("focusin", (event) => {
    const link = event.target.closest("tbody a");
    if (link) {
      current.tabIndex = -1;
      current = link;
      current.tabIndex = 0;
    }
  });
  board.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || !event.target.closest("tbody a")) {
      return;
    }
    const next = target(body(), event.target.closest("tbody a"), event.key);
    if (next) {
      event.preventDefault();
      next.focus();
      next.scrollIntoView({ block: "nearest", inline: "nearest" });
    }
  });
}

function walkAll(root) {
  root.querySelectorAll("[data-walk]").forEach(walk);
}

walkAll(document);
document.addEventListener("htmx:afterSettle", (event) => walkAll(event.target.parentElement ?? document));
