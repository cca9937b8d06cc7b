// After a part of a page was replaced: says so to a screen reader and keeps the focus at the place
// where the person was. A refusal (4xx) with a sentence of its own is shown, not swallowed.

// A refused form is read from its summary on; a browser leaves it aside where the address names a
// place of its own.
document.querySelector("[role=alert][autofocus]")?.focus();

const voice = document.querySelector("[data-voice]");

document.addEventListener("htmx:beforeSwap", (event) => {
  const status = event.detail.xhr.status;
  if ([400, 403, 404, 409, 422].includes(status) && event.detail.serverResponse.trim()) {
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  }
});

document.addEventListener("htmx:afterSettle", (event) => {
  const place = event.detail.elt;
  const focus = place.matches("[data-focus]") ? place : place.querySelector("[data-focus]");
  if (focus) {
    if (!focus.hasAttribute("tabindex")) {
      focus.tabIndex = -1;
    }
    focus.focus();
  }
  const said = place.matches("[data-say]") ? place : place.querySelector("[data-say]");
  if (voice && said) {
    voice.textContent = said.dataset.say || said.textContent.trim();
  }
});

function cannotReach() {
  if (voice) {
    voice.textContent =
      "The answer did not arrive. What is saved is safe; try again when the connection is back.";
    voice.classList.remove("unseen");
  }
}

document.addEventListener("htmx:sendError", cannotReach);
document.addEventListener("htmx:timeout", cannotReach);
