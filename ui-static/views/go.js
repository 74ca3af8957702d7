// To go on with a held cut: seen once more, made ready here, kept pressed over there.

import { el, setText, show } from "../lib/dom.js";
import { mm, number } from "../lib/format.js";
import { WAY, can, wayOn, waysWanted, weighing } from "../state/select.js";
import { button, twoSteps } from "../widgets/button.js";
import { closePlate, leaves, pictured } from "./resume.js";

export function mount(root, store, actions, signal) {
  root.classList.add("in-two");
  const near = closePlate();
  const open = () => can(store.get(), "resume") && weighing(store.get())?.open === 0 && waysWanted(store.get()) === null;
  const step = twoSteps(signal, {
    words: "",
    may: () => store.get().readyAt !== null && open(),
    ready: () => actions.ready("resume"),
    done: () => actions.resume(),
  });
  const where = el("h2", { class: "caption" });
  const before = el("p", { class: "before wide" });
  const facts = el("p", { class: "before wide strong", "data-test": "leaves" });
  const back = button("Back", signal, () => actions.page("resume"));
  root.append(
    el("div", { class: "two-row" }, step.first, el("div", { class: "between costs" }, facts), step.second),
    el("div", { class: "under-two confirm" },
      el("div", { class: "stack" }, back),
      el("div", { class: "near" }, near.node),
      el("div", { class: "column" }, where, before)),
  );

  store.subscribe((state) => {
    const now = wayOn(state);
    show(step.first, open());
    const ready = state.readyAt !== null && open();
    if (!now?.plan || !state.view) {
      step.draw(false, "");
      return;
    }
    const { plan } = now;
    const shown = pictured(state, plan);
    if (shown?.near) near.draw(shown.near);
    const name = WAY[plan.way] ?? plan.way;
    step.draw(ready, plan.way === "leave" ? `Leave cut ${now.cut} and go on` : `Cut ${now.cut} from ${mm(plan.from_mm)}`);
    setText(where, `${name}, cut ${now.cut}`);
    const pierce = plan.pierces && state.job ? ` Then pierce ${number(state.job.pierce_delay_s, 1)} s.` : "";
    setText(before, `Before the arc: the torch moves and finds the plate.${pierce} Visor down. Stand clear.`);
    setText(facts, leaves(plan));
  }, signal);
}
