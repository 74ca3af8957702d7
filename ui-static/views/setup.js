// Set up: how large a millimetre is on this glass, the light it is read in, and what this table does
// without because its controller cannot do it.

import { el, keyed, setText, show } from "../lib/dom.js";
import { can, lacks, proving } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

/** The lights that it can be read in, by the name of their colours, and in words. */
const LIGHTS = [["day", "day"], ["night", "night"], ["glare", "glare"]];

export function mount(root, store, actions, signal) {
  const card = el("div", { class: "card-outline" }, el("span", { text: "Lay a bank card here: 85.6 mm wide" }));
  const size = el("p", { class: "say-line" });
  const draw = () => setText(size, `one millimetre is ${actions.pxPerMm().toFixed(2)} px here`);
  const change = (by) => () => {
    actions.setPxPerMm(actions.pxPerMm() + by);
    draw();
  };
  const smaller = button("Smaller", signal, change(-0.05), "plain");
  const larger = button("Larger", signal, change(0.05), "plain");
  // One target for the light: it says which is on, and goes on to the next.
  const light = button("", signal, () => {
    const at = LIGHTS.findIndex(([name]) => name === document.documentElement.dataset.theme);
    actions.setTheme(LIGHTS[(at + 1) % LIGHTS.length][0]);
    mark();
  }, "words");
  const mark = () => relabel(light, `Light: ${LIGHTS.find(([name]) => name === document.documentElement.dataset.theme)?.[1] ?? "day"}`);
  mark();
  const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
  const lamp = button("Lamp test", signal, () => actions.page("lamp"), "words");
  const screens = button("Other screens", signal, () => actions.page("screens"), "words");
  const prove = button("Commission", signal, () => actions.page("commission"), "words");
  const parts = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words pictured-parts");
  const told = pager(signal, "step-says");
  const without = el("div", { class: "lacks", "data-test": "lacks" });
  told.text.append(without);
  // Where nothing is off, the page is about its glass alone.
  let sizing = false;
  const other = button("", signal, () => {
    sizing = !sizing;
    drawn(store.get());
  }, "words");
  // Two at a time, so that each keeps its size on every glass.
  let further = false;
  const more = button("", signal, () => {
    further = !further;
    drawn(store.get());
  }, "plain");
  root.append(
    side("left", { middle: [card, size, told.node], feet: [told.turn, smaller, larger, other, parts] }),
    side("column", { heads: [el("div", { class: "row" }, light, lamp, screens, prove)], feet: [back, more] }),
  );
  draw();
  function drawn(state) {
    const all = lacks(state);
    for (const node of [light, lamp]) show(node, !further);
    show(screens, further);
    show(prove, further && proving(state) !== null);
    relabel(more, further ? "Less" : "More");
    const reading = all.length > 0 && !sizing;
    show(other, all.length > 0);
    relabel(other, reading ? "Size of a millimetre" : `Off on this table: ${all.length}`);
    for (const node of [card, size, smaller, larger]) show(node, !reading);
    show(parts, (reading || all.length === 0) && can(state, "change-begin"));
    show(told.node, reading);
    if (!reading) show(told.turn, false);
    keyed(without, all, (lack) => lack.id, () => el("p"), (node, lack) => setText(node, `${lack.says} ${lack.therefore}`));
    if (reading) told.draw();
  }
  store.subscribe(drawn, signal);
}
