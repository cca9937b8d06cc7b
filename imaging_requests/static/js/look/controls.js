// The strip: its fields follow the view, and the view follows its fields.

import { exposureOf } from "./pane.js";

export class Controls {
  constructor(look, data, sight, act) {
    this.look = look;
    this.data = data;
    this.sight = sight;
    const strip = look.querySelector("[data-look-strip]");
    this.strip = strip;
    this.picks = [...strip.querySelectorAll("[data-pick]")];
    this.sliders = [...strip.querySelectorAll("[data-exposure]")];
    look.querySelector("[data-look-scripted]").hidden = false;
    strip.addEventListener("submit", (event) => event.preventDefault());
    strip.elements.face.addEventListener("change", (event) => act.face(event.target.value));
    for (const pick of this.picks) {
      pick.addEventListener("change", () => act.pick(this.picks.map((each) => each.value)));
    }
    this.radios("mode", act.mode);
    this.radios("tool", act.tool);
    strip.elements.mix.addEventListener("input", (event) => act.mix(Number(event.target.value)));
    for (const slider of this.sliders) {
      slider.addEventListener("input", () => act.exposure(Number(slider.dataset.exposure), Number(slider.value)));
    }
    strip.querySelector("[data-inverted]").addEventListener("change", act.invert);
    strip.querySelector("[data-notes]").addEventListener("change", act.notes);
    for (const button of strip.querySelectorAll("[data-do]")) {
      const does = act[button.dataset.do];
      if (does) {
        button.addEventListener("click", does);
      }
    }
  }

  radios(name, does) {
    for (const radio of this.strip.querySelectorAll(`input[name="${name}"]`)) {
      radio.addEventListener("change", () => does(radio.value));
    }
  }

  show(shown, allowed) {
    const { sight, strip } = this;
    strip.elements.face.value = sight.face;
    this.picks.forEach((pick, place) => {
      pick.closest("label").hidden = place > 1 && sight.mode !== "side";
      pick.value = sight.pictures[place] ? String(sight.pictures[place].id) : "";
    });
    for (const radio of strip.querySelectorAll('input[name="mode"]')) {
      radio.checked = radio.value === sight.mode;
      radio.disabled = !["one", "grid"].includes(radio.value) && !allowed.includes(radio.value);
    }
    strip.elements.mix.value = String(sight.mix);
    this.part("mix").hidden = !["fade", "split"].includes(sight.mode);
    this.part("measure").hidden = !sight.measure;
    this.part("inverted").hidden = !shown.some(({ picture }) => picture.technique === "XR");
    strip.querySelector("[data-inverted]").checked = sight.inverted;
    strip.querySelector("[data-notes]").checked = sight.notes;
    this.sliders.forEach((slider, place) => this.showExposure(slider, place, shown[place]));
  }

  showExposure(slider, place, shown) {
    const count = shown && this.sight.mode !== "grid" ? shown.picture.exposures.length : 0;
    this.part(`exposure-${place}`).hidden = count < 2;
    if (count > 1) {
      const exposure = exposureOf(shown.picture, shown.ev);
      slider.max = String(count - 1);
      slider.value = String(shown.picture.exposures.indexOf(exposure));
      slider.setAttribute("aria-valuetext", exposure.words);
      slider.nextElementSibling.value = exposure.words;
    }
  }

  part(name) {
    return this.strip.querySelector(`[data-for="${name}"]`);
  }

  tool(name) {
    for (const radio of this.strip.querySelectorAll('input[name="tool"]')) {
      radio.checked = radio.value === name;
    }
  }

  // The choices of every list: the pictures of the face by state, then the other side, mirrored.
  offer() {
    const { face } = this.sight;
    const other = this.data.sizeMm ? { F: "B", B: "F" }[face] : null;
    for (const pick of this.picks) {
      const none = pick.querySelector('option[value=""]');
      const groups = new Map();
      for (const picture of this.data.pictures) {
        if (picture.plane === face) {
          put(groups, picture.state, picture);
        }
      }
      for (const picture of this.data.pictures) {
        if (picture.plane === other) {
          const faces = this.data.faces;
          put(groups, `${faces[other]}, mirrored over the ${faces[face].toLowerCase()}`, picture);
        }
      }
      pick.replaceChildren(...(none ? [none] : []), ...[...groups].map(group));
    }
  }
}

function put(groups, label, picture) {
  groups.set(label, [...(groups.get(label) ?? []), picture]);
}

function group([label, pictures]) {
  const element = document.createElement("optgroup");
  element.label = label;
  element.append(...pictures.map((picture) => new Option(picture.words, String(picture.id))));
  return element;
}
