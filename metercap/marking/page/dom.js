// What pages are made of. Texts are set as texts only, never read as markup.
const SVG = "http://www.w3.org/2000/svg";

export const $ = (id) => document.getElementById(id);

export function element(name, text, kind = "") {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  if (kind) made.className = kind;
  return made;
}

export function button(text, does, kind = "") {
  const made = element("button", text, kind);
  made.type = "button";
  made.addEventListener("click", does);
  return made;
}

export function shape(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

// What would look the same stays: a button that is put there anew under a finger does not feel its click.
export function redrawn(id, what, made) {
  const seen = JSON.stringify(what);
  if ($(id).dataset.seen === seen) return;
  $(id).dataset.seen = seen;
  $(id).replaceChildren(...made());
}
