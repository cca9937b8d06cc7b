// Keys of the page. They can be switched off; the choice is kept. While a word is typed or a field
// has the focus, no key means anything but itself.

const STORED = "look-keys";

export class Keys {
  constructor(button, actions) {
    this.button = button;
    this.actions = actions;
    this.show();
    button.addEventListener("click", () => {
      localStorage.setItem(STORED, this.areOn ? "off" : "on");
      this.show();
    });
    document.addEventListener("keydown", (event) => this.press(event));
  }

  get areOn() {
    return localStorage.getItem(STORED) !== "off";
  }

  show() {
    this.button.setAttribute("aria-pressed", String(this.areOn));
    this.button.textContent = this.areOn ? "Keys on" : "Keys off";
  }

  press(event) {
    if (event.altKey || event.ctrlKey || event.metaKey || document.querySelector("dialog[open]")) {
      return;
    }
    const target = event.target;
    const isPanes = target.matches?.("[data-look-panes]") || target === document.body;
    if (!isPanes && target.closest?.("input, select, textarea")) {
      return;
    }
    if (!isPanes && (event.key === "Enter" || event.key === " " || !this.areOn)) {
      return;
    }
    if (!this.areOn && event.key.length === 1) {
      return;
    }
    const act = this.actions[event.key] ?? this.actions[event.key.toLowerCase()];
    if (act) {
      event.preventDefault();
      act(event);
    }
  }
}
