// How it went: what is cut, what is not and why. The sheet is hot.

import { el, keyed, setText, show } from "../lib/dom.js";
import { count, duration, mm } from "../lib/format.js";
import { CAUSE, can, drawing, placeFreshness, result } from "../state/select.js";
import { button } from "../widgets/button.js";
import { nearLine } from "../widgets/near.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";

export function mount(root, store, actions, signal) {
  const sheet = plate();
  const done = el("h2", { class: "figure", "data-test": "done" });
  const near = nearLine();
  const told = pager(signal);
  const facts = line("say-line");
  const holds = el("ul", { class: "lines" });
  const hot = el("p", { class: "hot" }, el("i", { class: "triangle" }), el("span", { text: "The sheet is hot. Loose pieces may tip." }));
  const away = button("Unload the job", signal, () => actions.ask({ kind: "unload" }), "words pictured-unload");
  const happened = button("See what happened", signal, () => actions.page("happened"), "words plain pictured-happened");
  told.text.append(done, hot, facts.node, holds);
  root.append(
    side("left", { heads: [near.node], middle: [el("div", { class: "fill plate-box" }, sheet.node)] }),
    side("column", { middle: [el("div", { class: "told" }, told.node, told.turn)], feet: [away, happened] }),
  );
  store.subscribe((state) => {
    const { view } = state;
    if (!view) return;
    const drawn = drawing(state);
    if (drawn) sheet.draw({ drawing: drawn, cuts: view.cuts, marks: view.marks, torch: view.torch, fresh: placeFreshness(state) });
    const r = result(view);
    setText(done, `${r.done} of ${r.all} cut`);
    const more = [r.skipped > 0 && `${r.skipped} skipped`, r.left > 0 && `${r.left} not cut`, (view.faltered ?? []).length > 0 && `lines came too slowly in cut ${[...new Set(view.faltered.map((f) => f.cut))].join(", ")}`, `${count(view.pierces, "pierce")}, arc on ${duration(view.arc_on_s)}`, view.run_s !== null && `run ${duration(view.run_s)}`];
    facts.say(more.filter(Boolean).join(", "));
    const list = view.holds.slice(-2).map((h, k) => ({ ...h, k }));
    keyed(holds, list, (h) => String(h.k), () => el("li"), (node, h) => {
      setText(node, `${CAUSE[h.cause] ?? h.cause}, cut ${h.cut} at ${mm(h.at_mm)}${h.resumed_mm === null ? "" : `, taken up at ${mm(h.resumed_mm)}`}`);
    });
    near.draw(state);
    told.draw();
    show(away, can(state, "unload"));
  }, signal);
}
