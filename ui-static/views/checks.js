// Before a start: what the machine sees, what the operator vouches for, and START, which is there
// only when all of it is true.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { onTap } from "../lib/touch.js";
import { MARK, can, checks, datum, starter, whyNot } from "../state/select.js";
import { button, keepPressed, relabel } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

const mark = () => el("i", { class: "mark", "aria-hidden": "true" });
const holdsAs = (c) => (c.holds === true ? "yes" : c.holds === false ? "no" : "open");

function seen() {
  const node = el("li", { class: "seen" }, mark(), el("span"));
  return node;
}

function vouch(check, signal, actions) {
  const says = el("span", { class: "vouch-says" });
  const remedy = el("small");
  const node = el("div", { class: "target vouch", role: "button", "data-check": check.check }, mark(), el("div", {}, says, remedy));
  onTap(node, signal, () => !("shut" in node.dataset) && actions.vouch(check.check, node.dataset.holds !== "yes"));
  node.drawVouch = (c, open) => {
    setData(node, "shut", open ? null : "");
    setData(node, "holds", holdsAs(c));
    setText(says, c.says);
    setText(remedy, c.holds === true ? "" : c.remedy);
  };
  return node;
}

export function mount(root, store, actions, signal) {
  const title = el("h2", { class: "caption" });
  const list = el("ul", { class: "seen-list" });
  const sum = el("p", { class: "small-only" });
  const todo = el("p", { class: "todo" }, el("i", { class: "triangle" }), el("span"));
  const seenTold = pager(signal, "machine-sees");
  seenTold.text.append(sum, list, todo);
  const grid = el("div", { class: "vouches fill" });
  const start = keepPressed("", signal, {
    may: () => starter(store.get()) !== null,
    done: () => actions.start(starter(store.get())),
  });
  const inTwo = button("Start, in two steps", signal, () => actions.page("start"), "starter-like");
  const confirm = button("The torch is where the screen says", signal, () => actions.ask({ kind: "confirm-place" }), "words");
  const whyTold = pager(signal, "why");
  whyTold.text.append(el("h3", { text: "START comes when" }), el("ol"));
  const why = el("div", { class: "told" }, whyTold.node, whyTold.turn);
  const right = button("At the table: set it right", signal, () => actions.setRight(), "words practice-only");
  const parts = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words");
  const back = button("Back", signal, () => actions.backFromChecks());
  const next = button("", signal, () => actions.nextChecks());
  root.append(
    side("left", { heads: [title], middle: [el("div", { class: "told" }, seenTold.node, seenTold.turn), grid] }),
    side("column", { heads: [start.node, inTwo, confirm, right, parts], middle: [why], feet: [back, next] }),
  );

  store.subscribe((state) => {
    const c = checks(state);
    const machine = c.page === 0;
    setText(title, machine ? "The machine sees" : `You vouch, ${c.page} of ${c.pages - 1}`);
    show(list, machine);
    show(sum, machine);
    setText(sum, `The machine sees ${c.machine.filter((x) => x.holds === true).length} of ${c.machine.length} true`);
    setData(root, "tab", machine ? "machine" : "vouch");
    show(grid, !machine);
    keyed(list, machine ? c.machine : [], (x) => x.check, seen, (node, x) => {
      setData(node, "holds", holdsAs(x));
      setText(node.lastElementChild, x.says);
    });
    keyed(grid, c.shown, (x) => x.check, (x) => vouch(x, signal, actions), (node, x) => node.drawVouch(x, can(state, "vouch")));
    const bad = c.machine.find((x) => x.holds === false) ?? c.machine.find((x) => x.holds !== true);
    setText(todo.lastElementChild, bad ? `Not yet: ${bad.says}. ${bad.remedy}` : "");
    show(todo, machine && Boolean(bad));

    // What starts anything stands alone: never beside what is vouched for.
    const due = starter(state);
    const what = machine ? due : null;
    setData(root, "starter", what === null ? null : what);
    show(start.node, ["start", "home", "datum-go", "permit-test"].includes(what));
    const cuts = state.view?.cuts.length ?? 0;
    start.relabel({
      start: `START: cut ${cuts} from ${state.job?.thickness_mm ?? ""} mm sheet`,
      home: "Reference the axes: the torch moves",
      "datum-go": `Torch to ${MARK[datum(state)?.mark.feature] ?? "the mark"}: it moves`,
      "permit-test": "Test the permit relay",
    }[what] ?? "");
    show(inTwo, what === "start-in-two");
    show(confirm, what === "confirm-place");
    const ready = due === "start" || due === "start-in-two";
    show(why, machine && what === null && !ready);
    const reasons = c.open.map((x) => x.says);
    if (reasons.length === 0) reasons.push(state.view?.phase === "homing" ? "the axes are referenced" : whyNot(state, "start") ?? "the panel is live");
    keyed(whyTold.text.lastElementChild, reasons.map((says, k) => ({ says, k })), (x) => String(x.k), () => el("li"), (node, x) => setText(node, x.says));
    whyTold.draw();
    const tableWrong = state.table?.practice && c.machine.some((x) => x.holds === false && ["air-good", "source-on", "torch-seated", "gate-closed", "hold-released", "hold-button-works", "estop-works", "estop-closed", "contact-open", "link-alive", "arc-ok-open", "fire-on-open"].includes(x.check));
    // What starts anything has nothing beside it.
    show(right, Boolean(tableWrong) && machine && what === null);
    // With the parts vouched for; or where only a contact test is wanting.
    const untried = c.open.some((x) => x.check === "parts-tested");
    const vouching = c.shown.some((x) => x.check === "right-parts");
    show(parts, what === null && can(state, "change-begin") && (machine ? untried && !tableWrong : vouching));
    show(seenTold.node.parentElement, machine);
    seenTold.draw();
    relabel(back, c.page === 0 ? "Put the job away" : "Back");
    show(back, c.page > 0 || can(state, "unload"));
    relabel(next, c.page + 1 < c.pages ? `You vouch, ${c.page + 1} of ${c.pages - 1}` 
      : ready ? "To START" : "The machine sees");
    show(next, c.pages > 1);
  }, signal);
}
