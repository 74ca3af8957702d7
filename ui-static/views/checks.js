// Before a start: what the machine sees, what the operator confirms, and START, which is there only
// when all of it is true. Then the plate stands in the place of what was open.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { onTap } from "../lib/touch.js";
import { MARK, can, checks, datum, drawing, placeFreshness, starter, whyNot } from "../state/select.js";
import { button, keepPressed, relabel } from "../widgets/button.js";
import { pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";

/** What of the simulated table hands can set right. */
const BY_HANDS = ["air-good", "source-on", "torch-seated", "gate-closed", "hold-released", "hold-button-works", "estop-works", "estop-closed", "contact-open", "link-alive", "arc-ok-open", "fire-on-open"];

const mark = () => el("i", { class: "mark", "aria-hidden": "true" });
const holdsAs = (c) => (c.holds === true ? "yes" : c.holds === false ? "no" : "open");
const named = (c) => c.says;

function confirmed(check, signal, actions) {
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

/** What the machine sees: each in its place, and the first that does not hold with what to do. */
function machineSees(signal) {
  const list = el("ul", { class: "seen-list" });
  const sum = el("p", { class: "small-only" });
  const todo = el("p", { class: "todo" }, el("i", { class: "triangle" }), el("span"));
  const told = pager(signal, "machine-sees");
  told.text.append(sum, list, todo);
  const node = el("div", { class: "told" }, told.node, told.turn);
  return {
    node,
    draw(machine) {
      setText(sum, `The machine sees ${machine.filter((x) => x.holds === true).length} of ${machine.length} true`);
      keyed(list, machine, (x) => x.check, () => el("li", { class: "seen" }, mark(), el("span")), (item, x) => {
        setData(item, "holds", holdsAs(x));
        setText(item.lastElementChild, named(x));
      });
      const bad = machine.find((x) => x.holds === false) ?? machine.find((x) => x.holds !== true);
      setText(todo.lastElementChild, bad ? `Not yet: ${named(bad)}. ${bad.remedy}` : "");
      show(todo, Boolean(bad));
      told.draw();
    },
  };
}

/** Why START is not there, one by one. */
function startComes(signal) {
  const told = pager(signal, "why");
  const list = el("ol");
  told.text.append(el("h3", { text: "START comes when" }), list);
  return {
    node: el("div", { class: "told" }, told.node, told.turn),
    draw(state, open) {
      const reasons = open.map(named);
      if (reasons.length === 0) reasons.push(state.view?.phase === "homing" ? "the axes are referenced" : whyNot(state, "start") ?? "the panel is live");
      keyed(list, reasons.map((says, k) => ({ says, k })), (x) => String(x.k), () => el("li"), (node, x) => setText(node, x.says));
      told.draw();
    },
  };
}

function startWords(state) {
  return {
    start: `START: cut ${state.view?.cuts.length ?? 0} from ${state.job?.thickness_mm ?? ""} mm sheet`,
    home: "Reference the axes: the torch moves",
    "datum-go": `Torch to ${MARK[datum(state)?.mark.feature] ?? "the mark"}: it moves`,
    "permit-test": "Test the permit relay",
  };
}

export function mount(root, store, actions, signal) {
  const title = el("h2", { class: "caption" });
  const sees = machineSees(signal);
  const grid = el("div", { class: "vouches fill" });
  const sheet = plate();
  const picture = el("div", { class: "fill plate-box" }, sheet.node);
  const start = keepPressed("", signal, {
    may: () => starter(store.get()) !== null,
    done: () => actions.start(starter(store.get())),
  });
  const inTwo = button("Start, in two steps", signal, () => actions.page("start"), "starter-like");
  const confirm = button("Confirm: the torch is where the screen says", signal, () => actions.ask({ kind: "confirm-place" }), "words");
  const why = startComes(signal);
  const right = button("At the table: set it right", signal, () => actions.setRight(), "words practice-only");
  const parts = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words pictured-parts");
  const back = button("Back", signal, () => actions.backFromChecks(), "plain");
  const next = button("", signal, () => actions.nextChecks());
  root.append(
    side("left", { heads: [title], middle: [sees.node, picture, grid] }),
    side("column", { heads: [start.node, inTwo, confirm, right, parts], middle: [why.node], feet: [back, next] }),
  );

  store.subscribe((state) => {
    const c = checks(state);
    const machine = c.page === 0;
    const due = starter(state);
    const ready = due === "start" || due === "start-in-two";
    const drawn = ready && machine ? drawing(state) : null;
    setText(title, !machine ? `Confirm by touch, ${c.page} of ${c.pages - 1}` : drawn ? "All checks are true" : "The machine sees");
    setData(root, "tab", machine ? "machine" : "vouch");
    show(grid, !machine);
    show(picture, Boolean(drawn));
    show(sees.node, machine && !drawn);
    if (drawn) sheet.draw({ drawing: drawn, cuts: state.view.cuts, marks: state.view.marks, torch: state.view.torch, fresh: placeFreshness(state) });
    if (machine && !drawn) sees.draw(c.machine);
    keyed(grid, c.shown, (x) => x.check, (x) => confirmed(x, signal, actions), (node, x) => node.drawVouch(x, can(state, "vouch")));

    // What starts anything stands alone: never beside what is confirmed.
    const what = machine ? due : null;
    setData(root, "starter", what === null ? null : what);
    show(start.node, ["start", "home", "datum-go", "permit-test"].includes(what));
    start.relabel(startWords(state)[what] ?? "");
    show(inTwo, what === "start-in-two");
    show(confirm, what === "confirm-place");
    show(why.node, machine && what === null && !ready);
    why.draw(state, c.open);
    const tableWrong = state.table?.practice && c.machine.some((x) => x.holds === false && BY_HANDS.includes(x.check));
    // What starts anything has nothing beside it.
    show(right, Boolean(tableWrong) && machine && what === null);
    // With the parts confirmed; or where only a contact test is wanting.
    const untried = c.open.some((x) => x.check === "parts-tested");
    const confirming = c.shown.some((x) => x.check === "right-parts");
    show(parts, what === null && can(state, "change-begin") && (machine ? untried && !tableWrong : confirming));
    relabel(back, c.page === 0 ? "Unload the job" : "Back");
    show(back, c.page > 0 || can(state, "unload"));
    relabel(next, c.page + 1 < c.pages ? `Confirm ${c.page + 1} of ${c.pages - 1}` : ready ? "To START" : "The machine sees");
    show(next, c.pages > 1);
  }, signal);
}
