// One side of a page. Heads and feet have their places, and nothing can push them: what lies between
// gives way. So no target can ever come under HOLD, however much there is to tell.

import { el } from "../lib/dom.js";

/**
 * @param {string} look
 * @param {{ heads?: Node[], middle?: Node[], feet?: Node[] }} parts
 */
export function side(look, { heads = [], middle = [], feet = [] }) {
  return el("section", { class: look },
    heads.length > 0 ? el("div", { class: "heads" }, ...heads) : null,
    el("div", { class: "gives" }, ...middle),
    feet.length > 0 ? el("div", { class: "feet" }, ...feet) : null);
}
