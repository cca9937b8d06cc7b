// Lets a person choose light or dark for this browser. Without this file the page follows the
// system. The choice is a cookie, so that the server writes it into the page and nothing flashes.

const COOKIE = "theme";
const YEAR_IN_SECONDS = 31_536_000;

function apply(choice) {
  const root = document.documentElement;
  if (choice === "system") {
    delete root.dataset.theme;
    document.cookie = `${COOKIE}=; path=/; max-age=0; samesite=lax`;
  } else {
    root.dataset.theme = choice;
    document.cookie = `${COOKIE}=${choice}; path=/; max-age=${YEAR_IN_SECONDS}; samesite=lax`;
  }
}

function show(group) {
  const now = document.documentElement.dataset.theme ?? "system";
  for (const button of group.querySelectorAll("[data-choose-theme]")) {
    button.setAttribute("aria-pressed", String(button.dataset.chooseTheme === now));
  }
}

for (const group of document.querySelectorAll("[data-theme-choice]")) {
  group.hidden = false;
  show(group);
  group.addEventListener("click", (event) => {
    const button = event.target.closest("[data-choose-theme]");
    if (button) {
      apply(button.dataset.chooseTheme);
      show(group);
    }
  });
}
