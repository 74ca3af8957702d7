// Set up: how large a millimetre is on this glass, and the light it is read in.

import { el, setData, setText, show } from "../lib/dom.js";
import { can } from "../state/select.js";
import { button } from "../widgets/button.js";
import { side } from "../widgets/side.js";

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
  const themes = [["day", "Day"], ["night", "Night"], ["glare", "Glare"]].map(([name, words]) => {
    const node = button(words, signal, () => {
      actions.setTheme(name);
      mark();
    }, "words");
    return { name, node };
  });
  const mark = () => {
    for (const { name, node } of themes) setData(node, "chosen", document.documentElement.dataset.theme === name ? "" : null);
  };
  mark();
  const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
  const parts = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words pictured-parts");
  root.append(
    side("left", { middle: [card, size], feet: [smaller, larger, parts] }),
    side("column", { heads: [el("div", { class: "row" }, themes[0].node, themes[1].node), el("div", { class: "row" }, themes[2].node, back)] }),
  );
  draw();
  store.subscribe((state) => show(parts, can(state, "change-begin")), signal);
}
