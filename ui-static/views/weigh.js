// One warning of a way on, one reason why it may be taken all the same.

import { el, setText } from "../lib/dom.js";
import { REASONS, WAY, weighing } from "../state/select.js";
import { button } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";
import { closePlate, pictured } from "./resume.js";

export function mount(root, store, actions, signal) {
  const near = closePlate();
  const told = pager(signal, "facts");
  const says = line("finding-says", { "data-test": "warning" });
  told.text.append(says.node);
  const caption = el("h2", { class: "caption" });
  const reasons = REASONS.map((reason) => button(reason, signal, () => actions.weigh(weighing(store.get())?.plan.id, reason), "words"));
  const back = button("Back", signal, () => actions.page("resume"), "plain pictured-back");
  root.append(
    side("left", { middle: [el("div", { class: "fill plate-box" }, near.node), told.node], feet: [back, told.turn] }),
    side("column", { heads: [caption], feet: [el("div", { class: "reasons" }, ...reasons)] }),
  );
  store.subscribe((state) => {
    const w = weighing(state);
    if (!w?.warn) return;
    const shown = pictured(state, w.plan);
    if (shown?.near) near.draw(shown.near);
    setText(caption, `${WAY[w.plan.way] ?? w.plan.way}: why is it fit to cut?`);
    says.say(`${w.place + 1} of ${w.count}  ${w.warn.says}`);
    told.draw();
  }, signal);
}
