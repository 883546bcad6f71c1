// Elements of the page that are made as they are needed.

/** @param {string} tag @param {string} text @param {string} [kind] */
export function made(tag, text, kind) {
  const element = document.createElement(tag);
  element.textContent = text;
  if (kind) element.className = kind;
  return element;
}
