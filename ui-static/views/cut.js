// The run page: one target, HOLD. Everything else is to be seen.

import { el, setData, setText, show } from "../lib/dom.js";
import { NOTHING, duration, number } from "../lib/format.js";
import { onTap } from "../lib/touch.js";
import { drawing, freshness, placeFreshness, waiting } from "../state/select.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";
import { cutStrip } from "../widgets/strip.js";

function value(name) {
  const label = el("span", { class: "label", text: name });
  const figure = el("b", { class: "live" });
  const note = el("small");
  return { node: el("div", { class: "value" }, label, el("div", {}, figure, note)), figure, note };
}

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const strip = cutStrip();
  const none = el("p", { class: "say-line", text: "The drawing of this job is not at hand." });
  const wait = el("div", { class: "waiting" }, el("span", { class: "label" }), el("p", { "data-test": "wait-long" }));
  const volts = value("Arc volts");
  const left = value("Time left");
  const next = el("p", { class: "next" });
  const messages = el("div", { class: "target messages", role: "button" }, el("span", { text: "messages" }));
  onTap(messages, signal, () => actions.page("happened"));
  root.append(
    side("left", { middle: [none, el("div", { class: "fill plate-box" }, sheet.node), strip.node] }),
    side("column run-column", { middle: [wait, volts.node, left.node, next] }),
    messages,
  );

  store.subscribe((state) => {
    const { view, job } = state;
    if (!view) return;
    const drawn = drawing(state);
    const fresh = freshness(state);
    show(none, !drawn);
    if (drawn) sheet.draw({ drawing: drawn, cuts: view.cuts, marks: view.marks, torch: view.torch, fresh: placeFreshness(state) });
    strip.draw(view);
    const w = waiting(state);
    setText(wait.children[1], w.long);
    setData(wait, "yours", w.yours ? "" : null);
    const most = w.limit === null ? "" : ` (most ${number(w.limit, 1)} s)`;
    setText(wait.children[0], w.waited === null ? "Waiting for" : `Waiting ${number(w.waited, 1)} s${most} for`);
    const arcOn = view.torch.arc === "on";
    const lost = fresh === "lost";
    setText(volts.figure, lost ? NOTHING : arcOn && view.signals.volts !== null ? `${number(view.signals.volts)} V` : NOTHING);
    setText(volts.note, job ? `should be ${number(job.volts)}` : "");
    setText(left.figure, lost || view.left_s === null ? NOTHING : duration(view.left_s));
    const after = view.cut && view.cut < view.cuts.length ? `then cut ${view.cut + 1} of ${view.cuts.length}` : "the last cut";
    setText(next, lost ? "" : after);
    show(messages, view.alarms.length > 0);
  }, signal);
}
