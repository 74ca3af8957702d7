// The ways on from a stop, the best first, each with its why. To choose one starts nothing.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { onTap } from "../lib/touch.js";
import { WAY, waysShown } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";
import { leavesShort } from "./resume.js";

/** As many as have room for their why. */
const A_PAGE = 2;

function choice(plan, signal, actions) {
  const name = el("h2");
  const why = el("p");
  const costs = el("span", { class: "strong" });
  const node = el("div", { class: "target way", role: "button", "data-way": plan.way }, el("div", { class: "way-head" }, name, costs), why);
  onTap(node, signal, () => actions.way(plan.way));
  node.drawWay = (p, best, chosen) => {
    setText(name, `${best ? "Best: " : ""}${WAY[p.way] ?? p.way}`);
    setText(why, p.why);
    const warned = p.warns.length > 0 ? `, ${p.warns.length} to accept` : "";
    setText(costs, `${leavesShort(p)}${warned}`);
    setData(node, "chosen", chosen ? "" : null);
  };
  return node;
}

export function mount(root, store, actions, signal) {
  const list = el("div", { class: "fill ways", "data-test": "ways" });
  const title = el("h2", { class: "caption" });
  const barred = el("ul", { class: "lines", "data-test": "barred" });
  const told = pager(signal);
  told.text.append(barred);
  const back = button("Back", signal, () => actions.page("resume"), "plain pictured-back");
  const more = button("", signal, () => actions.moreWays(waysShown(store.get(), A_PAGE)?.pages ?? 1), "plain");
  root.append(
    side("left", { middle: [list] }),
    side("column", { heads: [title], middle: [el("div", { class: "told" }, told.node, told.turn)], feet: [back, more] }),
  );

  store.subscribe((state) => {
    const ways = waysShown(state, A_PAGE);
    if (!ways) return;
    keyed(list, ways.shown, (p) => p.way, (p) => choice(p, signal, actions), (node, p) => node.drawWay(p, p === ways.best, p === ways.chosen));
    setText(title, ways.barred.length > 0 ? "Not here" : "Choose how to go on");
    keyed(barred, ways.barred, (b) => b.way, () => el("li"), (node, b) => setText(node, `${WAY[b.way] ?? b.way}: ${b.why}`));
    told.draw();
    show(more, ways.pages > 1);
    relabel(more, `See more, ${ways.page + 1} of ${ways.pages}`);
  }, signal);
}
