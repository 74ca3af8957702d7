// Where a held cut is taken up again: the way on, its point, and what it leaves, seen on the plate.
// Nothing here moves anything; going on has its own page.

import { el, setText, show } from "../lib/dom.js";
import { mm } from "../lib/format.js";
import { pointAt } from "../lib/path.js";
import { closeUp, wayDrawn } from "../lib/stretch.js";
import { WAY, can, drawing, nextStepMm, placeFreshness, stepMm, stopDrawn, wayOn, waysWanted, weighing } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";

/** A close-up shows at least so much to each side, and so much about what it shows, mm. */
const LEAST_MM = 4.5;
const MARGIN_MM = 3;

/** A close-up: its room is the metal's; the whole sheet beside it shows where you stand. */
export const closePlate = () => plate({ scales: false, you: false });

/** What the plate shows of a stop and of a way on, near and whole. */
export function pictured(state, plan) {
  const drawn = drawing(state);
  if (!drawn || !state.view) return null;
  const stop = stopDrawn(state);
  const cut = stop ? drawn.cuts[stop.cut] : null;
  const way = wayDrawn(plan, cut);
  const model = { drawing: drawn, cuts: state.view.cuts, marks: state.view.marks, entries: state.view.entries ?? [], stop, way };
  const whole = { ...model, torch: state.view.torch, fresh: placeFreshness(state) };
  if (!cut) return { near: null, whole };
  const doubt = stop.lost ? [stop.lost.low_mm, stop.lost.high_mm] : [0];
  const places = [...doubt, ...(stop.ran_on ?? [])].map((s) => pointAt(cut.points, s));
  if (way) places.push(way.fires, way.meets, ...way.entry);
  return { near: { ...model, focus: closeUp(places, LEAST_MM, MARGIN_MM) }, whole };
}

/** The same in few words. */
export function leavesShort(plan) {
  const list = [`${mm(plan.overlap_mm)} cut again`, plan.uncut_mm > 0 ? `${mm(plan.uncut_mm)} uncut` : "nothing uncut"];
  if (plan.tab_mm > 0) list.push(`tab ${mm(plan.tab_mm)}`);
  return list.join(", ");
}

/** What a way cuts twice and what it leaves, in words. */
export function leaves(plan) {
  const list = [`${mm(plan.overlap_mm)} cut again`];
  list.push(plan.uncut_mm > 0 ? `${mm(plan.uncut_mm)} stays uncut` : "nothing stays uncut");
  if (plan.tab_mm > 0) list.push(`a tab of ${mm(plan.tab_mm)} stays: break it by hand`);
  return `${list.join(", ")}.`;
}

export function mount(root, store, actions, signal) {
  const near = closePlate();
  const whole = plate({ scales: false });
  const told = pager(signal, "way-words");
  const title = el("h2", { class: "caption", "data-test": "way" });
  const where = el("p", { class: "before", "data-test": "from" });
  const why = line("before way-why");
  const facts = line("before strong", { "data-test": "leaves" });
  const warns = el("p", { class: "before hot" }, el("i", { class: "triangle" }), el("span"));
  const more = button("", signal, () => actions.stepBack(stepMm(store.get())), "plain");
  const less = button("", signal, () => actions.stepBack(-stepMm(store.get())), "plain");
  const size = button("", signal, () => actions.step(), "plain");
  const others = button("", signal, () => actions.page("ways"), "plain");
  const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
  const on = button("", signal, () => actions.page(weighing(store.get())?.open > 0 ? "weigh" : "go"));
  told.text.append(title, where, facts.node, warns, why.node);
  root.append(
    el("div", { class: "pictures" }, el("div", { class: "near" }, near.node), el("div", { class: "whole-sheet" }, whole.node)),
    el("div", { class: "told" }, told.node, told.turn),
    el("div", { class: "row point" }, more, less, size),
    el("div", { class: "row choose" }, others, back, on),
  );

  store.subscribe((state) => {
    const now = wayOn(state);
    const step = stepMm(state);
    relabel(more, `${step} mm back`);
    relabel(less, `${step} mm on`);
    relabel(size, `Steps of ${nextStepMm(state)} mm`);
    if (!now) {
      show(on, false);
      return;
    }
    const { plan } = now;
    const pending = waysWanted(state) !== null;
    const shown = pictured(state, plan);
    if (shown?.near) near.draw(shown.near);
    if (shown) whole.draw(shown.whole);
    setText(title, plan ? `${plan === now.plans[0] ? "Best: " : ""}${WAY[plan.way] ?? plan.way}` : "No way on");
    const early = now.back > 0 ? `, ${mm(now.back)} early` : "";
    setText(where, plan ? `Cut ${now.cut} from ${mm(plan.from_mm)}${early}${pending ? " ..." : "."}` : "");
    why.say(plan ? plan.why : now.barred.map((b) => `${WAY[b.way] ?? b.way}: ${b.why}`).join(" "));
    facts.say(plan ? leaves(plan) : "");
    const warned = plan?.warns.length ?? 0;
    show(warns, warned > 0);
    setText(warns.lastElementChild, warned === 1 ? plan.warns[0].says : `${warned} warnings to accept, one by one`);
    told.draw();
    const rest = now.plans.filter((p) => p !== plan);
    relabel(others, rest.length > 0 ? `Other ways: ${rest.length}` : "Why no other way");
    show(others, rest.length > 0 || now.barred.length > 0);
    show(more, now.back < now.at);
    show(less, now.back > 0);
    show(on, Boolean(plan) && !pending && can(state, "resume"));
    relabel(on, "Go on this way");
  }, signal);
}
