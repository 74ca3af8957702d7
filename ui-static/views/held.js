// It stands still: why, where, what to do, and the ways on. Clearing comes first, one act at a
// time; a choice starts nothing, it opens its own page.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { mm } from "../lib/format.js";
import { MARK, can, datum, drawing, freshness, goesOn, leading, nextAct, placeFreshness, steps, waysOn } from "../state/select.js";
import { button, keepPressed, relabel } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";

export function mount(root, store, actions, signal) {
  const near = plate({ scales: false });
  const whole = plate({ scales: false });
  const caption = el("h2", { class: "caption your-move" }, el("i", { class: "disc" }), el("span"));
  const pictures = el("div", { class: "pictures fill" }, el("div", { class: "near" }, near.node), el("div", { class: "whole-sheet" }, whole.node));
  const why = el("p", { class: "why-line", "data-test": "why" });
  const remedy = el("p", { class: "do-line", "data-test": "do" });
  const list = el("ol", { class: "steps" });

  const moves = ["home", "datum-go"];
  const home = keepPressed("Reference the axes: the torch moves", signal, {
    may: () => moves.includes(nextAct(store.get())?.act),
    done: () => actions.ask({ kind: nextAct(store.get()).act }),
  });
  const act = button("", signal, () => actions.act(nextAct(store.get())), "words");
  const resume = button("", signal, () => actions.page("resume"), "words");
  const skip = button("", signal, () => actions.page("skip"), "words");
  const end = button("End the job", signal, () => actions.page("end"), "words");
  const right = button("Set it right", signal, () => actions.setRight(), "words practice-only");
  const happened = button("What happened", signal, () => actions.page("happened"), "words");
  root.append(
    el("section", { class: "left" }, caption, pictures, el("div", { class: "told" }, why, remedy)),
    el("section", { class: "column choices" }, home.node, resume, skip, act, list, el("div", { class: "row bottom" }, end, right, happened)),
  );

  store.subscribe((state) => {
    const { view } = state;
    if (!view) return;
    const hold = view.hold;
    const alarm = leading(view);
    const told = hold ?? alarm;
    const drawn = drawing(state);
    const mark = hold?.cut ? view.marks.findLast((m) => m.cut === hold.cut) : null;
    const place = mark?.place ?? view.torch.place;
    setText(caption.lastElementChild, mark ? `Your move: look at flag ${mark.number}` : "Your move");
    show(caption, freshness(state) !== "lost");
    const model = drawn && { drawing: drawn, cuts: view.cuts, marks: view.marks, torch: view.torch, fresh: placeFreshness(state) };
    show(pictures.firstElementChild, Boolean(model && place));
    show(pictures.lastElementChild, Boolean(model));
    if (model && place) near.draw({ ...model, focus: { at: place, zoom: 4 } });
    if (model) whole.draw(model);
    const where = hold?.at_mm !== null && hold?.at_mm !== undefined ? ` ${mm(hold.at_mm)} along cut ${hold.cut}.` : "";
    setText(why, told ? `Why: ${told.why}.${where}`.replaceAll("..", ".") : "");
    setText(remedy, told ? `Do: ${told.remedy}` : "");

    const ways = waysOn(state);
    const next = nextAct(state);
    show(resume, ways.includes("resume"));
    relabel(resume, `Go on with cut ${hold?.stop?.cut ?? ""}: choose the point`);
    show(skip, ways.includes("skip-cut"));
    relabel(skip, hold?.cut && hold.cut < view.cuts.length ? `Leave cut ${hold.cut}, go on to ${hold.cut + 1}` : "Leave this cut");
    show(end, ways.includes("end-job"));
    show(home.node, moves.includes(next?.act));
    const over = datum(state);
    home.relabel(next?.act === "datum-go" && over ? `Torch to ${MARK[over.mark.feature]}: it moves` : "Reference the axes: the torch moves");
    setData(root, "next", next?.act ?? null);
    show(act, ["seen", "clear", "confirm-place"].includes(next?.act));
    relabel(act, {
      seen: `Seen: ${next?.alarm?.what ?? ""}`,
      clear: `Clear: ${next?.alarm?.what ?? ""}`,
      "confirm-place": "The torch is where the screen says",
    }[next?.act] ?? "");
    const order = goesOn(state) ? [] : steps(state);
    show(list, order.length > 0);
    setData(root, "steps", order.length > 0 ? "" : null);
    keyed(list, order.map((s, k) => ({ ...s, k })), (s) => `${s.k}`, () => el("li", {}, el("i", { class: "mark" }), el("span")), (node, s) => {
      setData(node, "holds", s.done ? "yes" : "open");
      setText(node.lastElementChild, s.says);
    });
    const wrong = view.alarms.some((a) => !a.gone) || view.signals.estop_open || !view.link.alive;
    show(right, state.table?.practice === true && wrong && can(state, "hold"));
  }, signal);
}
