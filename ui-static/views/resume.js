// Where a held cut is taken up again: the way on and its point, seen on the plate, then made ready,
// then kept pressed.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { mm, number } from "../lib/format.js";
import { pointAt } from "../lib/path.js";
import { STEP_MM, WAY, can, drawing, placeFreshness, wayOn } from "../state/select.js";
import { button, relabel, twoSteps } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";

export function mount(root, store, actions, signal) {
  root.classList.add("in-two");
  const near = plate({ scales: false });
  const whole = plate({ scales: false });
  const ready = () => can(store.get(), "resume") && Boolean(wayOn(store.get())?.plan);
  const step = twoSteps(signal, {
    words: "",
    may: () => store.get().readyAt !== null && ready(),
    ready: () => actions.ready("resume"),
    done: () => actions.resume(),
  });
  const where = el("h2", { class: "caption", "data-test": "from" });
  const before = el("p", { class: "before" });
  const others = el("div", { class: "stack large-only", "data-test": "ways" });
  const less = button(`${STEP_MM} mm on`, signal, () => actions.stepBack(-STEP_MM));
  const more = button(`${STEP_MM} mm back`, signal, () => actions.stepBack(STEP_MM));
  const back = button("Back", signal, () => actions.page(null));
  root.append(
    el("div", { class: "two-row" }, step.first, el("div", { class: "between" }, whole.node), step.second),
    el("div", { class: "under-two" },
      el("div", { class: "stack" }, others, back),
      el("div", { class: "near" }, near.node),
      el("div", { class: "column" }, where, before, el("div", { class: "row bottom" }, more, less))),
  );

  store.subscribe((state) => {
    const on = wayOn(state);
    const drawn = drawing(state);
    show(step.first, ready());
    if (!on || !state.view) return;
    const { plan } = on;
    const cut = drawn?.cuts[on.cut - 1];
    const start = plan?.entry.length ? plan.pierce : cut && plan ? pointAt(cut.points, plan.from_mm) : null;
    const model = drawn && { drawing: drawn, cuts: state.view.cuts, marks: state.view.marks, torch: state.view.torch, fresh: placeFreshness(state), start };
    if (model && start) near.draw({ ...model, focus: { at: start, zoom: 4 } });
    if (model) whole.draw(model);
    step.draw(state.readyAt !== null && ready(), plan ? `Cut ${on.cut}: ${WAY[plan.way] ?? plan.way}` : "");
    setText(where, plan ? `${WAY[plan.way] ?? plan.way}: ${mm(plan.from_mm)}` : "No way on");
    const wait = plan?.pierces && state.job ? `Pierce ${number(state.job.pierce_delay_s, 1)} s. ` : "";
    const left = plan?.tab_mm ? ` A tab of ${mm(plan.tab_mm)} stays.` : "";
    setText(before, plan ? `${wait}${mm(plan.overlap_mm)} cut again.${left}` : on.barred.map((b) => b.why).join(" "));
    keyed(others, on.plans.filter((p) => p !== plan), (p) => p.way, (p) => {
      const node = button("", signal, () => actions.way(p.way), "words");
      setData(node, "way", p.way);
      return node;
    }, (node, p) => relabel(node, WAY[p.way] ?? p.way));
    show(more, on.back < on.at);
    show(less, on.back > 0);
  }, signal);
}
