// Elements by hand: text is only ever set as text, never read as markup.

/**
 * Makes an element. `props`: `class`, `id`, attributes; `text` sets its text.
 * @param {string} tag
 * @param {Record<string, string | boolean | undefined>} [props]
 * @param {...(Node | string | null | undefined)} kids
 */
export function el(tag, props = {}, ...kids) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === false) continue;
    if (name === "text") node.textContent = String(value);
    else if (name === "class") node.className = String(value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const kid of kids) if (kid !== null && kid !== undefined) node.append(kid);
  return node;
}

/** Sets a text only where it differs: unchanged text is not laid out again. */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Shows or takes away. */
export function show(node, yes) {
  if (node.hidden === yes) node.hidden = !yes;
}

/** Sets a data attribute, or takes it away with `null`. */
export function setData(node, name, value) {
  if (value === null) delete node.dataset[name];
  else if (node.dataset[name] !== value) node.dataset[name] = value;
}

/**
 * Makes the children of `parent` match `items`: kept by key, in order.
 * @template T
 * @param {HTMLElement} parent
 * @param {T[]} items
 * @param {(item: T) => string} keyOf
 * @param {(item: T) => HTMLElement} make
 * @param {(node: HTMLElement, item: T) => void} update
 */
export function keyed(parent, items, keyOf, make, update) {
  const old = new Map();
  for (const node of parent.children) old.set(node.dataset.key, node);
  let place = parent.firstElementChild;
  for (const item of items) {
    const key = keyOf(item);
    let node = old.get(key);
    if (node) {
      old.delete(key);
    } else {
      node = make(item);
      node.dataset.key = key;
    }
    update(node, item);
    if (node === place) place = place.nextElementSibling;
    else parent.insertBefore(node, place);
  }
  for (const node of old.values()) node.remove();
}
