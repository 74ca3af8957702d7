// Nothing has been heard yet.

import { el, setText } from "../lib/dom.js";
import { seconds } from "../lib/format.js";
import { ageMs, freshness } from "../state/select.js";
import { side } from "../widgets/side.js";

export function mount(root, store, actions, signal) {
  const says = el("h2", { class: "caption" });
  const what = el("p", { class: "say-line" });
  root.append(side("left whole", { middle: [says, what] }));
  store.subscribe((state) => {
    const lost = freshness(state) === "lost";
    setText(says, `The panel has not answered for ${seconds(ageMs(state) / 1000)}`);
    setText(what, lost ? "Arc and place are not known. If anything moves, use the red button. Then look at the panel's power." : "");
  }, signal);
}
