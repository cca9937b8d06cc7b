// Moves a reviewer by keys: a to Accept, s to Send back, n to the next picture. A key moves the
// focus and never decides by itself. The keys can be switched off; the choice is kept.

const STORED = "review-keys";
const hint = document.querySelector("[data-keys]");
const keySwitch = document.querySelector("[data-keys-switch]");

function areOn() {
  return localStorage.getItem(STORED) !== "off";
}

function show() {
  keySwitch.setAttribute("aria-pressed", String(areOn()));
  keySwitch.textContent = areOn() ? "Keys on" : "Keys off";
}

function isTyping(target) {
  return target.closest("input:not([type=checkbox]), textarea, select") !== null;
}

function go(target) {
  const folded = target.closest("details");
  if (folded && target.matches("summary")) {
    folded.open = true;
    folded.querySelector("input:not([type=hidden]), textarea")?.focus();
  } else if (target.matches("a")) {
    target.click();
  } else {
    target.focus();
  }
  target.scrollIntoView({ block: "nearest" });
}

if (hint && keySwitch) {
  hint.hidden = false;
  show();
  keySwitch.addEventListener("click", () => {
    localStorage.setItem(STORED, areOn() ? "off" : "on");
    show();
  });
}

document.addEventListener("keydown", (event) => {
  if (!areOn() || event.altKey || event.ctrlKey || event.metaKey || isTyping(event.target)) {
    return;
  }
  const target = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
  if (target) {
    event.preventDefault();
    go(target);
  }
});
