// One warning, one reason: why this job may be cut all the same.

import { el } from "../lib/dom.js";
import { REASONS, report } from "../state/select.js";
import { button } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";
import { flags } from "./report.js";

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const told = pager(signal, "facts");
  const [says, remedy] = [line("finding-says"), line("finding-remedy")];
  told.text.append(says.node, remedy.node);
  const caption = el("h2", { class: "caption", text: "Why is it fit to cut?" });
  const reasons = REASONS.map((reason) => button(reason, signal, () => actions.accept(reason), "words"));
  const back = button("Back", signal, () => actions.page("report"), "plain pictured-back");
  root.append(
    side("left", { middle: [el("div", { class: "fill plate-box" }, sheet.node), told.node], feet: [back, told.turn] }),
    side("column", { heads: [caption], feet: [el("div", { class: "reasons" }, ...reasons)] }),
  );
  store.subscribe((state) => {
    const r = report(state);
    if (!r?.shown) return;
    sheet.draw({ drawing: r.read.drawing, flags: flags(r.findings, r.place).filter((f) => f.solid) });
    says.say(`${r.place + 1}  ${r.shown.says}`);
    remedy.say(r.shown.remedy);
    told.draw();
  }, signal);
}
