// Walks the links of a dense table with the arrow keys: one stop for the Tab key in its heads and
// one in its rows, then cell by cell.
// Home and End go to the ends of the row, Page Up and Page Down ten rows. Without this file every
// link is a stop.

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

// The heads of two rows as they stand beside each other.
function heads(table) {
  const left = (link) => link.getBoundingClientRect().left;
  return [...table.querySelectorAll("thead a")].sort((one, two) => left(one) - left(two));
}

function targetOfHead(table, link, key) {
  const all = heads(table);
  const place = all.indexOf(link);
  switch (key) {
    case "ArrowLeft":
      return all[place - 1];
    case "ArrowRight":
      return all[place + 1];
    case "Home":
      return all[0];
    case "End":
      return all.at(-1);
    default:
      return undefined;
  }
}

function oneStop(table) {
  keepOne(heads(table));
  keepOne([...table.querySelectorAll("tbody a")]);
}

function keepOne(all) {
  const current = all.find((link) => link === document.activeElement) ?? all[0];
  for (const link of all) {
    const wanted = link === current ? 0 : -1;
    if (link.tabIndex !== wanted) {
      link.tabIndex = wanted;
    }
  }
}

function walk(table) {
  oneStop(table);
  if (table.dataset.walk === "ready") {
    return;
  }
  table.dataset.walk = "ready";
  table.addEventListener("focusin", () => oneStop(table));
  table.addEventListener("keydown", (event) => {
    const link = event.target.closest("thead a, tbody a");
    if (!link || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) {
      return;
    }
    const next = link.closest("thead")
      ? targetOfHead(table, link, event.key)
      : target([...table.querySelectorAll("tbody tr")], link, event.key);
    if (next) {
      event.preventDefault();
      next.focus();
      next.scrollIntoView({ block: "nearest", inline: "nearest" });
    }
  });
}

function walkAll() {
  document.querySelectorAll("[data-walk]").forEach(walk);
}

walkAll();
document.addEventListener("htmx:afterSettle", walkAll);
