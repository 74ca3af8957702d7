// To go on with a held cut: seen once more, made ready here, kept pressed over there.

import { el, show } from "../lib/dom.js";
import { mm, number } from "../lib/format.js";
import { WAY, can, wayOn, waysWanted, weighing } from "../state/select.js";
import { button, twoSteps } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
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
  const told = pager(signal);
  const where = line("caption");
  const facts = line("before wide strong", { "data-test": "leaves" });
  const before = line("before wide");
  told.text.append(where.node, facts.node, before.node);
  const back = button("Back", signal, () => actions.page("resume"), "plain pictured-back");
  root.append(
    el("div", { class: "two-row" }, step.first, el("div", { class: "between" }), step.second),
    el("div", { class: "under-two confirm" },
      el("div", { class: "stack" }, told.turn, back),
      el("div", { class: "near" }, near.node),
      el("div", { class: "column" }, told.node)),
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
    where.say(`${name}, cut ${now.cut}`);
    const pierce = plan.pierces && state.job ? ` Then pierce ${number(state.job.pierce_delay_s, 1)} s.` : "";
    before.say(`Before the arc: the torch moves and finds the plate.${pierce} Visor down. Stand clear.`);
    facts.say(leaves(plan));
    told.draw();
  }, signal);
}
