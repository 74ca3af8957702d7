// Whether it is safe to go near, in so many words, and why: the panel's judgement, repeated. Only
// where it is safe does it say what to look at.

import { el, setData, setText } from "../lib/dom.js";
import { near } from "../state/select.js";

export function nearLine() {
  const mark = el("i", { class: "near-mark" });
  const word = el("span", { "data-test": "near" });
  const why = el("p", { class: "near-why", "data-test": "near-why" });
  const node = el("div", { class: "near-say" }, el("h2", { class: "near-line" }, mark, word), why);
  return {
    node,
    /** So many words are to be read: why it is not safe is, why it is safe need not be. */
    words: () => `${word.textContent} ${node.dataset.safe === "yes" ? "" : why.textContent}`.trim().split(/\s+/).length,
    /** `move`: what to look at there, if anything. */
    draw(state, move = "") {
      const { safe, why: because } = near(state);
      setData(node, "safe", safe ? "yes" : "no");
      setText(word, !safe ? "Not safe to go near" : move ? `Safe to go near: ${move}` : "Safe to go near");
      setText(why, because);
    },
  };
}
