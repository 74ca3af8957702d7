// The run page: one target, HOLD. Everything else is to be seen; the plate is the largest of it.

import { el, setData, setText, show } from "../lib/dom.js";
import { NOTHING, duration, number } from "../lib/format.js";
import { isSmall } from "../lib/glass.js";
import { drawing, freshness, jobLines, placeFreshness, waiting } from "../state/select.js";
import { button } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";
import { gauge } from "../widgets/gauge.js";
import { side } from "../widgets/side.js";
import { cutStrip } from "../widgets/strip.js";

/** The scale of the arc volts reaches so far to both sides of what they should be, V. */
const VOLTS_ASIDE = 20;

function value(name) {
  const figure = el("b", { class: "live" });
  return { node: el("div", { class: "value" }, el("span", { class: "label", text: name }), figure), figure };
}

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const strip = cutStrip();
  const none = el("p", { class: "say-line", text: "The drawing of this job is not at hand." });
  const wait = el("div", { class: "waiting" }, el("span", { class: "label" }), el("p", { "data-test": "wait-long" }));
  const rule = gauge(VOLTS_ASIDE);
  const volts = value("Arc volts");
  const height = value("Height, mm");
  const left = value("Time left");
  const order = el("div", { class: "value order" }, el("span", { class: "label", "data-test": "order" }), strip.node);
  const messages = button("Read messages", signal, () => actions.page("happened"), "plain messages");
  root.append(
    side("left", { middle: [none, el("div", { class: "fill plate-box" }, sheet.node)] }),
    side("column run-column", { middle: [wait, el("div", { class: "figures" }, volts.node, height.node, left.node), rule.node, order] }),
    messages,
  );

  store.subscribe((state) => {
    const { view, job } = state;
    if (!view) return;
    const drawn = drawing(state);
    const lost = freshness(state) === "lost";
    show(none, !drawn);
    if (drawn) sheet.draw({ drawing: drawn, cuts: view.cuts, marks: view.marks, torch: view.torch, fresh: placeFreshness(state) });
    const w = waiting(state);
    setText(wait.children[1], isSmall() ? w.short : w.long);
    setData(wait, "yours", w.yours ? "" : null);
    const most = w.limit === null ? "" : ` (most ${number(w.limit, 1)} s)`;
    setText(wait.children[0], w.waited === null ? "Waiting for" : `Waiting ${number(w.waited, 1)} s${most} for`);
    const burning = !lost && view.torch.arc === "on" && view.signals.volts !== null;
    setText(volts.figure, burning ? number(view.signals.volts) : NOTHING);
    rule.draw(burning ? view.signals.volts : null, job?.volts ?? null);
    setText(height.figure, lost || view.torch.height_mm === null ? NOTHING : number(view.torch.height_mm, view.torch.height_mm < 10 ? 1 : 0));
    setText(left.figure, lost || view.left_s === null ? NOTHING : duration(view.left_s));
    setText(order.firstElementChild, lost ? "" : jobLines(state).find((l) => l.length < 34) ?? "");
    strip.draw(view);
    show(messages, view.alarms.length > 0);
    setData(root, "told", view.alarms.length > 0 ? "" : null);
  }, signal);
}
