// Lets the strip of a look-and-compare window fade when nothing has been touched for a while.

const REST_AFTER_MS = 4000;
const look = document.querySelector("[data-look]");

if (look) {
  let timer;
  const wake = () => {
    look.classList.remove("look--resting");
    clearTimeout(timer);
    timer = setTimeout(() => look.classList.add("look--resting"), REST_AFTER_MS);
  };
  for (const kind of ["pointermove", "pointerdown", "keydown", "focusin"]) {
    document.addEventListener(kind, wake, { passive: true });
  }
  wake();
}
