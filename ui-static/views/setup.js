// Set up: how large a millimetre is on this glass, and the light it is read in.

import { el, setText, show } from "../lib/dom.js";
import { can } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
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
  const parts = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words pictured-parts");
  root.append(
    side("left", { middle: [card, size], feet: [smaller, larger, parts] }),
    side("column", { heads: [el("div", { class: "row" }, light, lamp)], feet: [back] }),
  );
  draw();
  store.subscribe((state) => show(parts, can(state, "change-begin")), signal);
}
