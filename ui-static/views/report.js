// What vetting says: the verdict, the findings one at a time with their numbered flags on the
// sheet, and the warnings to accept one by one.

import { el, setData, setText, show } from "../lib/dom.js";
import { count, duration, length, size, words } from "../lib/format.js";
import { VERDICT, can, report, whyNot } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";

const LOOK = { refuse: "danger", warn: "amber", note: "note" };

export function flags(findings, place) {
  const list = findings.map((f, k) => ({ at: f.at, number: k + 1, look: LOOK[f.severity], solid: k === place, k }));
  // The one in hand is drawn last, over the others.
  return list.filter((f) => f.at).sort((a, b) => (a.k === place) - (b.k === place));
}

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const facts = el("p", { class: "facts" });
  const verdict = el("h2", { class: "verdict", "data-test": "verdict" });
  const rule = el("p", { class: "rule" });
  const says = el("p", { class: "finding-says", "data-test": "finding" });
  const remedy = el("p", { class: "finding-remedy" });
  const reason = el("p", { class: "accepted" });
  const finding = el("div", { class: "finding fill" }, rule, says, remedy, reason);
  const earlier = button("Earlier", signal, () => actions.finding(-1));
  const later = button("Later", signal, () => actions.finding(1));
  const back = button("Back", signal, () => actions.page(null));
  const accept = button("Accept this warning", signal, () => actions.page("accept"));
  const load = button("", signal, () => actions.load(), "starter-like");
  const shut = el("div", { class: "shut" });
  const under = el("div", { class: "under-plate" }, facts, earlier, later);
  root.append(
    el("section", { class: "left" }, el("div", { class: "fill plate-box" }, sheet.node), under),
    el("section", { class: "column" }, verdict, finding, el("div", { class: "row bottom" }, back, accept, load, shut)),
  );

  store.subscribe((state) => {
    const r = report(state);
    if (!r) {
      if (state.report.id && !(state.report.id in state.read)) actions.fetchProgram(state.report.id);
      setText(verdict, "Being read");
    }
    for (const node of [earlier, later, accept, load]) show(node, false);
    show(shut, true);
    setText(shut, "");
    if (!r || r.trouble) {
      setText(says, r?.trouble ?? "");
      return;
    }
    const { read, findings, shown, place } = r;
    setText(verdict, VERDICT[read.report.verdict]);
    setData(verdict, "verdict", read.report.verdict);
    sheet.draw({ drawing: read.drawing, flags: flags(findings, place), loose: true });
    const what = [read.name, read.material && words(read.material), read.thickness_mm && `${read.thickness_mm} mm`, read.amps && `${read.amps} A`];
    const how = [read.sheet && size(read.sheet), count(read.report.cuts, "cut"), length(read.report.cut_mm), read.report.time_s !== null && `about ${duration(read.report.time_s)}`];
    setText(facts, `${what.filter(Boolean).join(", ")}\n${how.filter(Boolean).join(", ")}`);
    setText(rule, shown ? `${place + 1} of ${findings.length}  ${shown.rule}${shown.line ? `, line ${shown.line}` : ""}${shown.cut ? `, cut ${shown.cut}` : ""}` : "");
    setData(rule, "severity", shown?.severity ?? null);
    setText(says, shown ? shown.says : "Nothing was found against it.");
    setText(remedy, shown?.remedy ?? "");
    setText(reason, r.reason ? `Accepted: ${r.reason}` : "");
    show(earlier, place > 0);
    show(later, place + 1 < findings.length);
    const toAccept = shown?.severity === "warn" && !r.reason && read.report.verdict !== "refused";
    show(accept, toAccept);
    const loads = r.loads && can(state, "load") && !toAccept;
    show(load, loads);
    relabel(load, `Take ${count(read.report.cuts, "cut")}, ${read.thickness_mm ?? "?"} mm sheet`);
    show(shut, !loads && !toAccept);
    setText(shut, read.report.verdict === "refused"
      ? "Refused: it cannot be taken."
      : r.missing > 0 ? `Taken when ${count(r.missing, "warning is", "warnings are")} accepted.` : whyNot(state, "load") ?? "");
  }, signal);
}
