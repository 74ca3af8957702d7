// What vetting says: the verdict, the findings one at a time with their numbered flags on the
// sheet, and the warnings to accept one by one.

import { el, setData, setText, show } from "../lib/dom.js";
import { count, cuts, duration, length, size, words } from "../lib/format.js";
import { VERDICT, can, planned, report, whyNot } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";

const LOOK = { refuse: "danger", warn: "amber", note: "note" };

/** What another finding explains is flagged only while it is in hand; so are those beyond this number. */
const FLAGS = 400;

export function flags(findings, place) {
  const list = findings.map((f, k) => ({ at: f.at, number: k + 1, look: LOOK[f.severity], solid: k === place, k, under: f.under ?? null }));
  const shown = list.filter((f) => f.at && (f.k === place || (f.under === null && f.k < FLAGS)));
  // The one in hand is drawn last, over the others.
  return shown.sort((a, b) => (a.k === place) - (b.k === place));
}

/** The cuts of a finding, and what explains it or how many it explains. */
function which(shown) {
  const of = cuts(shown.cuts?.length ? shown.cuts : shown.cut ? [shown.cut] : []);
  const why = shown.explainedBy ? `, explained by ${shown.explainedBy}` : shown.explains ? `, explains ${count(shown.explains, "other")}` : "";
  return `${of ? `, ${of}` : ""}${why}`;
}

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const about = pager(signal, "facts");
  const facts = line();
  about.text.append(facts.node);
  const verdict = el("h2", { class: "verdict", "data-test": "verdict" });
  const told = pager(signal, "finding");
  const rule = line("rule");
  const says = line("finding-says", { "data-test": "finding" });
  const remedy = line("finding-remedy");
  const reason = line("accepted");
  told.text.append(rule.node, says.node, remedy.node, reason.node);
  const earlier = button("Earlier", signal, () => actions.finding(-1), "plain");
  const later = button("Later", signal, () => actions.finding(1), "plain");
  const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
  const plan = button("Plan", signal, () => actions.page("plan"), "plain");
  const accept = button("Accept this warning", signal, () => actions.page("accept"));
  const load = button("", signal, () => actions.load(), "starter-like");
  const shut = el("div", { class: "shut" });
  root.append(
    side("left", { middle: [el("div", { class: "fill plate-box" }, sheet.node)], feet: [about.node, about.turn, earlier, later, plan] }),
    side("column", { heads: [verdict], middle: [el("div", { class: "told" }, told.node, told.turn)], feet: [back, accept, load, shut] }),
  );

  store.subscribe((state) => {
    const r = report(state);
    if (!r) {
      if (state.report.id && !(state.report.id in state.read)) actions.fetchProgram(state.report.id);
      setText(verdict, "Being read");
    }
    for (const node of [earlier, later, plan, accept, load]) show(node, false);
    show(shut, true);
    setText(shut, "");
    if (!r || r.trouble) {
      says.say(r?.trouble ?? "");
      told.draw();
      return;
    }
    const { read, findings, shown, place } = r;
    setText(verdict, VERDICT[read.report.verdict]);
    setData(verdict, "verdict", read.report.verdict);
    sheet.draw({ drawing: read.drawing, flags: flags(findings, place), loose: true });
    const what = [read.name, read.material && words(read.material), read.thickness_mm && `${read.thickness_mm} mm`, read.amps && `${read.amps} A`];
    const how = [read.sheet && size(read.sheet), count(read.report.cuts, "cut"), length(read.report.cut_mm), read.report.time_s !== null && `about ${duration(read.report.time_s)}`];
    facts.say(`${what.filter(Boolean).join(", ")}\n${how.filter(Boolean).join(", ")}`);
    rule.say(shown ? `${place + 1} of ${findings.length}  ${shown.rule}${shown.line ? `, line ${shown.line}` : ""}${which(shown)}` : "");
    setData(rule.node, "severity", shown?.severity ?? null);
    says.say(shown ? shown.says : "Nothing was found against it.");
    remedy.say(shown?.remedy ?? "");
    reason.say(r.reason ? `Accepted: ${r.reason}` : "");
    about.draw();
    told.draw();
    show(earlier, place > 0);
    show(later, place + 1 < findings.length);
    const p = planned(state);
    show(plan, p !== null);
    const toAccept = shown?.severity === "warn" && !r.reason && read.report.verdict !== "refused";
    show(accept, toAccept);
    const loads = r.loads && can(state, "load") && !toAccept;
    show(load, loads);
    relabel(load, `Load ${count(read.report.cuts, "cut")}, ${read.thickness_mm ?? "?"} mm sheet`);
    show(shut, !loads && !toAccept);
    setText(shut, read.report.verdict === "refused"
      ? "Refused: it cannot be loaded."
      : r.missing > 0 ? `Loaded when ${count(r.missing, "warning is", "warnings are")} accepted.` : whyNot(state, "load") ?? "");
  }, signal);
}
