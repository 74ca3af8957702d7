// It stands still: why, where, what to do, and the ways on. Clearing comes first, one act at a
// time; a choice starts nothing, it opens its own page.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { mm } from "../lib/format.js";
import { MARK, can, datum, freshness, goesOn, howOften, leading, nextAct, steps, waysOn, whyNot } from "../state/select.js";
import { button, keepPressed, relabel } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";
import { closePlate, pictured } from "./resume.js";

export function mount(root, store, actions, signal) {
  const near = closePlate();
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
  const change = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words");
  const end = button("End the job", signal, () => actions.page("end"), "words");
  const right = button("Set it right", signal, () => actions.setRight(), "words practice-only");
  const happened = button("What happened", signal, () => actions.page("happened"), "words");
  root.append(
    el("section", { class: "left" }, caption, pictures, el("div", { class: "told" }, why, remedy)),
    el("section", { class: "column choices" }, home.node, resume, act, list, el("div", { class: "row" }, change, skip), el("div", { class: "row bottom" }, end, right, happened)),
  );

  store.subscribe((state) => {
    const { view } = state;
    if (!view) return;
    const hold = view.hold;
    const alarm = leading(view);
    const told = hold ?? alarm;
    const mark = hold?.cut ? view.marks.findLast((m) => m.cut === hold.cut) : null;
    const place = mark?.place ?? view.torch.place;
    setText(caption.lastElementChild, mark ? `Your move: look at flag ${mark.number}` : "Your move");
    show(caption, freshness(state) !== "lost");
    const shown = pictured(state, null);
    const close = shown?.near?.focus ? shown.near : shown && place ? { ...shown.whole, focus: { at: place, zoom: 4 } } : null;
    show(pictures.firstElementChild, Boolean(close));
    show(pictures.lastElementChild, Boolean(shown));
    if (close) near.draw(close);
    if (shown) whole.draw(shown.whole);
    const where = hold?.at_mm !== null && hold?.at_mm !== undefined ? ` At ${mm(hold.at_mm)} along cut ${hold.cut}.` : "";
    const ran = hold?.ran_on_mm >= 0.1 ? ` Ran on ${mm(hold.ran_on_mm)} without arc.` : "";
    const often = howOften(state);
    const again = often > 1 ? ` ${often} times in this run.` : "";
    setText(why, told ? `Why: ${told.why}.${where}${ran}${again}`.replaceAll("..", ".") : "");
    setText(remedy, told ? `Do: ${told.remedy}` : "");

    const ways = waysOn(state);
    const next = nextAct(state);
    show(resume, ways.includes("resume"));
    relabel(resume, `Go on with cut ${hold?.stop?.cut ?? ""}: choose the point`);
    const moving = moves.includes(next?.act);
    show(change, can(state, "change-begin") && !moving && next?.act !== "seen");
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
    // The way on is shut for another reason than a latch: parts that were not tried, say.
    const shut = !goesOn(state) && order.length === 0 && !next ? whyNot(state, "resume") : null;
    if (shut) setText(remedy, `No way on yet: ${shut}`);
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
