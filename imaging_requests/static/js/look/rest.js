// Lets the strip fade when nothing has been touched for a while; any movement brings it back.

const REST_AFTER_MS = 6000;

export function restWhenUntouched(look) {
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
