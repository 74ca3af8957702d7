// What the panel did not take, and what to do: it takes the place of what a page tells, never that of
// a target, and is put away by a touch.

import { el, setText, show } from "../lib/dom.js";
import { onTap } from "../lib/touch.js";
import { nearLine } from "./near.js";
import { line, pager } from "./pager.js";

const TELLS_NEAR = ["held", "happened", "datum"];

export function mountSaid(actions, signal) {
  const told = pager(signal, "said-text");
  const [says, remedy] = [line(), line("do-line")];
  told.text.append(says.node, remedy.node);
  const away = el("div", { class: "target", role: "button" }, el("span", { text: "Seen" }));
  onTap(away, signal, actions.putAway);
  const near = nearLine();
  const node = el("div", { class: "said", role: "status" }, near.node, told.node, el("div", { class: "said-feet" }, told.turn, away));
  return {
    node,
    /** On a page that tells whether it is safe to go near, what lies over that tells it too. */
    draw(said, state, page) {
      show(node, said !== null);
      if (!said) return;
      show(near.node, TELLS_NEAR.includes(page));
      near.draw(state);
      says.say(said.says);
      remedy.say(said.remedy);
      told.draw();
    },
  };
}
