// On a narrow screen the parts that a page can do without at first are folded; each keeps its
// heading as a button. Without scripts, on a wide screen and in print they stand open.

const narrow = window.matchMedia("(max-width: 600px)");
const parts = [...document.querySelectorAll("details[data-fold-narrow]")];

function isMeant(part) {
  const name = decodeURIComponent(location.hash.slice(1));
  const meant = name && document.getElementById(name);
  return Boolean(meant && part.contains(meant));
}

function fold() {
  for (const part of parts) {
    part.open = !narrow.matches || isMeant(part);
  }
}

fold();
narrow.addEventListener("change", fold);
window.addEventListener("hashchange", () => {
  for (const part of parts.filter(isMeant)) {
    part.open = true;
  }
});
window.addEventListener("beforeprint", () => {
  for (const part of parts) {
    part.open = true;
  }
});

// A ruler of time that is wider than the screen begins with today, not with the oldest month.
for (const frame of document.querySelectorAll(".ruler__frame")) {
  frame.scrollLeft = frame.scrollWidth - frame.clientWidth;
}
