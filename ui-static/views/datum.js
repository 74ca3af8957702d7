// After a doubtful place: the torch stands low over something that is cut already. It is moved until
// it stands right, and said so. The arc cannot fire here.

import { el, setText, show } from "../lib/dom.js";
import { MARK, can, datum, drawing, near as nearNow, placeFreshness } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { nearLine } from "../widgets/near.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";
import { closePlate } from "./resume.js";

const STEPS_MM = [1, 0.1];

export function mount(root, store, actions, signal) {
  const near = closePlate();
  const title = el("h2", { class: "caption your-move" }, el("i", { class: "disc" }), el("span", { "data-test": "mark" }));
  const safe = nearLine();
  const told = pager(signal, "", { natural: true });
  const tells = line("do-line");
  told.text.append(title, tells.node);
  let step = 0;
  const nudge = (x, y) => () => actions.ask({ kind: "datum-nudge", dx_mm: x * STEPS_MM[step], dy_mm: y * STEPS_MM[step] });
  const away = button("Away", signal, nudge(0, 1), "nudge");
  const toward = button("To you", signal, nudge(0, -1), "nudge");
  const left = button("Left", signal, nudge(-1, 0), "nudge");
  const right = button("Right", signal, nudge(1, 0), "nudge");
  const size = button("", signal, () => {
    step = (step + 1) % STEPS_MM.length;
    relabel(size, `by ${STEPS_MM[step]} mm`);
  }, "nudge");
  relabel(size, `by ${STEPS_MM[step]} mm`);
  const here = button("It stands right", signal, () => actions.ask({ kind: "datum-here" }), "words");
  root.append(
    side("left", { heads: [safe.node], middle: [el("div", { class: "near fill" }, near.node), el("div", { class: "told" }, told.node, told.turn)] }),
    side("column nudges", { feet: [el("div", { class: "row" }, left, away, right), el("div", { class: "row" }, size, toward, here)] }),
  );

  store.subscribe((state) => {
    const now = datum(state);
    if (!now) return;
    setText(title.lastElementChild, `${now.number} of ${now.count}: ${MARK[now.mark.feature]}${now.mark.cut ? ` of cut ${now.mark.cut}` : ""}`);
    safe.draw(state);
    tells.say(nearNow(state).safe ? "Look from the side, visor up, hands clear of the torch. Move it until its tip stands right over the mark." : "Stay clear until it is safe to go near.");
    told.draw();
    const drawn = drawing(state);
    const at = now.mark.place;
    if (drawn) near.draw({ drawing: drawn, cuts: state.view.cuts, marks: state.view.marks, torch: state.view.torch, fresh: placeFreshness(state), start: at, focus: { at, zoom: 6 } });
    const may = can(state, "datum-here");
    for (const node of [away, toward, left, right, size, here]) show(node, may);
  }, signal);
}
