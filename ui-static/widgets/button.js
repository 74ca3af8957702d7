// Targets: a plain one acts on lift; a starter wants to be kept pressed, with a bar that fills.

import { el, setText, show } from "../lib/dom.js";
import { onKeepPressed, onTap } from "../lib/touch.js";
import { pictogram } from "./pictogram.js";

/**
 * A target that acts on lift. Three kinds are told apart at 2 m by frame and ground: what starts
 * something (white, heavy frame, a gauge that fills), a choice (raised, framed), and a plain one
 * (`plain`: a hairline on the page's own ground) that only turns, opens or goes back.
 * @param {string} look  classes; `pictured-x` sets the pictogram x beside the words
 */
export function button(words, signal, act, look = "") {
  const picture = look.match(/pictured-([a-z-]+)/)?.[1];
  const node = el("div", { class: `target ${look}`, role: "button" }, picture ? pictogram(picture) : null, el("span", { text: words }));
  onTap(node, signal, act);
  return node;
}

export function relabel(node, words) {
  setText(node.lastElementChild, words);
}

/**
 * A target that starts something: kept pressed 1 s, and only while `may` says so.
 * @param {string} words
 * @param {AbortSignal} signal
 * @param {{ may: () => boolean, done: () => void }} on
 */
export function keepPressed(words, signal, on) {
  const bar = el("i", { class: "filling" });
  const gauge = el("i", { class: "gauge" }, bar);
  const label = el("span", { text: words });
  const hint = el("small", { text: "keep pressed 1 s" });
  const node = el("div", { class: "target starter", role: "button" }, gauge, label, hint);
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
