// One warning of a way on, one reason why it may be taken all the same.

import { el, setText } from "../lib/dom.js";
import { REASONS, WAY, weighing } from "../state/select.js";
import { button } from "../widgets/button.js";
import { closePlate, pictured } from "./resume.js";

export function mount(root, store, actions, signal) {
  const near = closePlate();
  const says = el("p", { class: "facts", "data-test": "warning" });
  const caption = el("h2", { class: "caption" });
  const reasons = REASONS.map((reason) => button(reason, signal, () => actions.weigh(weighing(store.get())?.plan.id, reason), "words"));
  const back = button("Back", signal, () => actions.page("resume"));
  root.append(
    el("section", { class: "left" }, el("div", { class: "fill plate-box" }, near.node), el("div", { class: "under-plate" }, says, back)),
    el("section", { class: "column spread" }, caption, el("div", { class: "reasons" }, ...reasons)),
  );
  store.subscribe((state) => {
    const w = weighing(state);
    if (!w?.warn) return;
    const shown = pictured(state, w.plan);
    if (shown?.near) near.draw(shown.near);
    setText(caption, `${WAY[w.plan.way] ?? w.plan.way}: why is it fit to cut?`);
    setText(says, `${w.place + 1} of ${w.count}  ${w.warn.says}`);
  }, signal);
}
