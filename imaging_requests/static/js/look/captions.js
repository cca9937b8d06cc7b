// What stands on each picture in words: which, in which state, and how it is shown.

import { exposureOf } from "./pane.js";

const POLARITY = {
  negative: ["dense parts bright, as on film", "dense parts dark"],
  positive: ["dense parts dark", "dense parts bright, as on film"],
  unknown: ["it is not stated whether dense parts are dark or bright", "turned light for dark"],
};

export function caption(element, { letter, picture, ev, isMirrored, isInverted, face, isAway, isShort }) {
  const line = document.createElement("span");
  const name = document.createElement("b");
  if (isShort) {
    name.textContent = `${picture.day} · ${picture.state.split(",")[0]}`;
    line.append(name, document.createElement("br"), picture.view);
  } else {
    name.textContent = letter ? `${letter} ${picture.words}` : picture.words;
    line.append(name, ` · ${picture.state}`);
  }
  if (picture.exposures.length > 1) {
    line.append(` · ${exposureOf(picture, ev).words}`);
  }
  if (picture.stands) {
    line.append(` · ${picture.stands}`);
  }
  const marks = [];
  if (isMirrored) {
    marks.push(face === "F" ? "Mirrored: the back, seen through the front" : "Mirrored: the front, seen through the back");
  }
  if (picture.polarity) {
    const words = POLARITY[picture.polarity][isInverted ? 1 : 0];
    marks.push(isInverted ? `Inverted on the screen: ${words}` : `As filed: ${words}`);
  }
  if (picture.stretched) {
    marks.push("Tone stretched for the screen");
  }
  element.title = isShort ? [picture.words, picture.state, ...marks].join("; ") : "";
  element.replaceChildren(line, ...marks.map(mark));
  element.classList.toggle("look__caption--away", isAway);
}

function mark(words) {
  const element = document.createElement("span");
  element.className = "look__mark";
  element.textContent = words;
  return element;
}
