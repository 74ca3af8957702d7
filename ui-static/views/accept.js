// One warning, one reason: why this job may be cut all the same.

import { el, setText } from "../lib/dom.js";
import { REASONS, report } from "../state/select.js";
import { button } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";
import { flags } from "./report.js";

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const says = el("p", { class: "facts" });
  const caption = el("h2", { class: "caption", text: "Why is it fit to cut?" });
  const reasons = REASONS.map((reason) => button(reason, signal, () => actions.accept(reason), "words"));
  const back = button("Back", signal, () => actions.page("report"));
  root.append(
    el("section", { class: "left" }, el("div", { class: "fill plate-box" }, sheet.node), el("div", { class: "under-plate" }, says, back)),
    el("section", { class: "column spread" }, caption, el("div", { class: "reasons" }, ...reasons)),
  );
  store.subscribe((state) => {
    const r = report(state);
    if (!r?.shown) return;
    sheet.draw({ drawing: r.read.drawing, flags: flags(r.findings, r.place).filter((f) => f.solid) });
    setText(says, `${r.place + 1}  ${r.shown.says}\n${r.shown.remedy}`);
  }, signal);
}
