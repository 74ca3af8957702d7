// Where a held cut is taken up again: the point in steps of 5 mm, seen on the plate, then made
// ready, then kept pressed.

import { el, setText, show } from "../lib/dom.js";
import { mm, number } from "../lib/format.js";
import { pointAt } from "../lib/path.js";
import { STEP_MM, can, drawing, placeFreshness, resumeFrom } from "../state/select.js";
import { button, relabel, twoSteps } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";

export function mount(root, store, actions, signal) {
  root.classList.add("in-two");
  const near = plate({ scales: false });
  const whole = plate({ scales: false });
  const may = () => store.get().readyAt !== null && can(store.get(), "resume");
  const step = twoSteps(signal, {
    words: "",
    may,
    ready: () => actions.ready("resume"),
    done: () => actions.resume(resumeFrom(store.get()).ask),
  });
  const where = el("h2", { class: "caption", "data-test": "from" });
  const before = el("p", { class: "before" });
  const less = button(`${STEP_MM} mm on`, signal, () => actions.stepBack(-STEP_MM));
  const more = button(`${STEP_MM} mm back`, signal, () => actions.stepBack(STEP_MM));
  const again = button("Whole cut again", signal, () => actions.restart(), "words large-only");
  const back = button("Back", signal, () => actions.page(null));
  root.append(
    el("div", { class: "two-row" }, step.first, el("div", { class: "between" }, whole.node), step.second),
    el("div", { class: "under-two" },
      el("div", { class: "stack" }, again, back),
      el("div", { class: "near" }, near.node),
      el("div", { class: "column" }, where, before, el("div", { class: "row bottom" }, more, less))),
  );

  store.subscribe((state) => {
    const from = resumeFrom(state);
    const drawn = drawing(state);
    if (!from || !state.view) return;
    const cut = drawn?.cuts[from.cut - 1];
    const start = cut ? pointAt(cut.points, from.start) : null;
    const model = drawn && { drawing: drawn, cuts: state.view.cuts, marks: state.view.marks, torch: state.view.torch, fresh: placeFreshness(state), start };
    if (model && start) near.draw({ ...model, focus: { at: start, zoom: 4 } });
    if (model) whole.draw(model);
    step.draw(state.readyAt !== null && can(state, "resume"), `Pierce and cut ${from.cut} from ${from.restart ? "its start" : `${mm(from.back)} back`}`);
    show(step.first, can(state, "resume"));
    setText(where, from.restart ? `cut ${from.cut} again from its pierce` : `${mm(from.back)} before the stop`);
    const wait = state.job ? `, pierce ${number(state.job.pierce_delay_s, 1)} s` : "";
    setText(before, `First the plate is found${wait}.`);
    relabel(again, from.restart ? "Not the whole cut" : "Whole cut again");
    show(more, !from.restart);
    show(less, from.at > 0);
  }, signal);
}
