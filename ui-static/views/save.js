// A run to be taken away: in one file, as tables, on paper. A browser saves it where it saves things.

import { el, setText, show } from "../lib/dom.js";
import { savable, seeking } from "../state/select.js";
import { button } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

/** A target that a browser follows by itself, to a file that it saves: the page stays, and HOLD with it. */
function link(words) {
  const node = el("a", { class: "target", role: "button", download: "" }, el("span", { text: words }));
  return { node, to: (path) => {
    show(node, path !== null);
    if (path !== null && node.getAttribute("href") !== path) node.setAttribute("href", path);
  } };
}

export function mount(root, store, actions, signal) {
  const title = el("h2", { class: "caption" });
  const whole = link("The run in one file");
  const table = link("What happened, as a table");
  const curves = link("Curves of its last fault, as a table");
  const told = pager(signal);
  const [where, paper, bare] = [line("say-line"), line("say-line"), line("say-line")];
  told.text.append(where.node, paper.node, bare.node);
  const back = button("Back", signal, () => actions.page("run"), "plain pictured-back");
  root.append(
    side("left", { heads: [title], middle: [el("div", { class: "saves" }, whole.node, table.node, curves.node, back)] }),
    side("column", { middle: [told.node, told.turn] }),
  );
  store.subscribe((state) => {
    const { run } = seeking(state);
    const { events, trace } = savable(state);
    setText(title, `Save run ${run}`);
    whole.to(`/api/export/bundle?run=${run}`);
    table.to(events ? `/api/export/events?run=${run}` : null);
    curves.to(trace ? `/api/export/trace?name=${encodeURIComponent(trace)}` : null);
    where.say("It is saved where this browser saves files.");
    paper.say(`To print it, open this address with /run/${run} on a screen that has a printer.`);
    bare.say(`At the panel: standclear log --run ${run} --bundle FILE`);
    told.draw();
  }, signal);
}
