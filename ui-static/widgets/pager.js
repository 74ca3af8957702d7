// A text that gives way: it takes the room that is left between what has a fixed place, and where it
// is too long for that it turns its pages by a target of its own. Nothing scrolls, nothing is cut off.

import { el, setData, setText, show } from "../lib/dom.js";
import { button, relabel } from "./button.js";

let made = 0;

/**
 * `node` goes where the text stands, `turn` into a row of targets. Fill `text`, then `draw()`.
 * @param {AbortSignal} signal
 * @param {string} [look]
 * @param {{ natural?: boolean }} [how]  `natural`: its row is as high as its text, up to what its style allows
 */
export function pager(signal, look = "", { natural = false } = {}) {
  made += 1;
  const name = String(made);
  const text = el("div", { class: "pager-text" });
  const node = el("div", { class: `pager ${look}`, "data-pager": name }, text);
  let page = 0;
  let pages = 1;
  let told = null;
  const turn = button("", signal, () => {
    page = (page + 1) % pages;
    place();
  }, "turn");
  turn.dataset.turns = name;
  show(turn, false);

  function place() {
    const gap = Number.parseFloat(getComputedStyle(text).columnGap) || 0;
    const wide = node.clientWidth;
    // Each page is a column beside the one before.
    pages = wide > 0 ? Math.max(1, Math.round((text.scrollWidth + gap) / (wide + gap))) : 1;
    page = Math.min(page, pages - 1);
    text.style.transform = page > 0 ? `translateX(${-page * (wide + gap)}px)` : "";
    setData(node, "pages", String(pages));
    show(turn, pages > 1);
    relabel(turn, page + 1 < pages ? `Later, ${page + 1} of ${pages}` : `Earlier, ${pages} of ${pages}`);
  }

  // Not at once: what it changes may change the size that it was told of.
  let due = 0;
  const room = new ResizeObserver(() => {
    cancelAnimationFrame(due);
    due = requestAnimationFrame(place);
  });
  room.observe(node);
  signal.addEventListener("abort", () => {
    cancelAnimationFrame(due);
    room.disconnect();
  });

  return {
    node,
    text,
    turn,
    /** After its text may have changed. What is new is read from its beginning. */
    draw() {
      const now = text.textContent;
      if (now === told) return;
      told = now;
      page = 0;
      show(turn, false);
      if (natural) {
        node.classList.add("measured");
        node.parentElement.style.height = `${text.offsetHeight + 1}px`;
        node.classList.remove("measured");
      }
      place();
    },
  };
}

/** A line of a text in a pager: nothing where it has nothing to say. */
export function line(look = "", more = {}) {
  const node = el("p", { class: look, ...more });
  return {
    node,
    say(words) {
      setText(node, words);
      show(node, words !== "");
    },
  };
}
