// Targets: a plain one acts on lift; a starter wants to be kept pressed, with a bar that fills.

import { el, setText, show } from "../lib/dom.js";
import { onKeepPressed, onTap } from "../lib/touch.js";

/** A target that acts on lift. */
export function button(words, signal, act, look = "") {
  const node = el("div", { class: `target ${look}`, role: "button" }, el("span", { text: words }));
  onTap(node, signal, act);
  return node;
}

export function relabel(node, words) {
  setText(node.firstElementChild, words);
}

/**
 * A target that starts something: kept pressed 1 s, and only while `may` says so.
 * @param {string} words
 * @param {AbortSignal} signal
 * @param {{ may: () => boolean, done: () => void }} on
 */
export function keepPressed(words, signal, on) {
  const bar = el("i", { class: "filling" });
  const label = el("span", { text: words });
  const hint = el("small", { text: "keep pressed 1 s" });
  const node = el("div", { class: "target starter", role: "button" }, bar, label, hint);
  onKeepPressed(node, signal, {
    may: on.may,
    fill: (part) => {
      bar.style.width = `${part * 100}%`;
    },
    early: () => setText(hint, "let go too soon: keep pressed 1 s"),
    done: () => {
      setText(hint, "keep pressed 1 s");
      on.done();
    },
  });
  return {
    node,
    relabel(text) {
      if (label.textContent !== text) {
        setText(label, text);
        setText(hint, "keep pressed 1 s");
      }
    },
  };
}

/**
 * Two steps for what cannot be undone: make ready here, then keep pressed over there.
 * @param {AbortSignal} signal
 * @param {{ words: string, may: () => boolean, ready: () => void, done: () => void }} on
 */
export function twoSteps(signal, on) {
  const first = button("1  Make ready", signal, on.ready, "first-step");
  const second = keepPressed(on.words, signal, { may: on.may, done: on.done });
  second.node.classList.add("second-step");
  const shut = el("div", { class: "second-step shut" }, el("span"));
  return {
    first,
    second: el("div", { class: "second-place" }, second.node, shut),
    draw(ready, words) {
      second.relabel(`2  ${words}`);
      setText(shut.firstElementChild, `2  opens when made ready: ${words}`);
      show(second.node, ready);
      show(shut, !ready);
      first.classList.toggle("done", ready);
    },
  };
}
