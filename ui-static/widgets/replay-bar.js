// The keys of a replay: the only thing that can be pressed then, besides HOLD.

import { el, setText, show } from "../lib/dom.js";
import { number } from "../lib/format.js";
import { JUMP_S, STEP_S, replayAt } from "../state/select.js";
import { button, relabel } from "./button.js";

export function mountReplay(root, store, actions, signal) {
  const play = button("Play", signal, () => actions.replayPlay(), "words");
  const step = button("Step", signal, () => actions.replayMove(STEP_S), "plain");
  const earlier = button("Earlier", signal, () => actions.replayMove(-JUMP_S), "plain");
  const later = button("Later", signal, () => actions.replayMove(JUMP_S), "plain");
  const leave = button("Leave", signal, () => actions.replayLeave(), "plain");
  const where = el("p", { class: "replay-where", "data-test": "replay-at" });
  const bar = el("div", { class: "replay-bar" }, leave, earlier, later, step, play, where);
  show(bar, false);
  root.append(bar);
  store.subscribe((state) => {
    const at = replayAt(state);
    show(bar, at !== null);
    if (!at) return;
    relabel(play, at.playing ? "Pause" : "Play");
    setText(where, at.reached ? `${number(at.at_s, 1)} of ${number(at.of_s, 1)} s` : `going to ${number(at.at_s, 1)} s`);
  }, signal);
}
