// Commissioning: what is on record of each step, and the step that is open, turn by turn. The panel says
// what is asked, reads the inputs and judges; this page repeats it and sends the answers.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { can, proofAct, proving } from "../state/select.js";
import { button, keepPressed, relabel, twoSteps } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

const STANDS = { missing: "Not made on this table.", failed: "It did not pass.", lapsed: "It lapsed: the machine file was changed.", stands: "Passed." };

/** What the panel does by itself after "it is so". */
const FOLLOWS = { pulses: "It is so: pulse the permit relay", fires: "It is so: fire the torch" };

/** What has to be done first, and in which words. */
const FIRST = { home: "Reference the axes: the torch moves", "permit-test": "Test the permit relay", vouch: "Torch power is off at its isolator" };

/** All steps in a row: solid stands, hollow not made, hatched lapsed, a triangle did not pass. */
function stepStrip() {
  const node = el("ol", { class: "proofs", "aria-hidden": "true" });
  return {
    node,
    draw(rows, at) {
      keyed(node, rows.map((row, k) => ({ row, k })), (x) => x.row.step, () => el("li", {}, el("i")), (item, { row, k }) => {
        setData(item, "standing", row.standing);
        setData(item, "guards", row.guards ? "" : null);
        setData(item, "here", k === at ? "" : null);
      });
    },
  };
}

/** What the inputs of the open step read, the one that is worked first. */
function levelList() {
  const node = el("ul", { class: "levels", "data-test": "levels" });
  return {
    node,
    draw(open) {
      const worked = open.wire?.[0] ?? null;
      const list = [...open.levels].sort((a, b) => Number(b.wire === worked) - Number(a.wire === worked));
      keyed(node, list, (x) => x.wire, () => el("li", {}, el("i", { class: "contact" }), el("span")), (item, x) => {
        setData(item, "closed", x.closed ? "yes" : "no");
        setData(item, "changed", x.changed ? "" : null);
        setText(item.lastElementChild, `${x.wire.replaceAll("-", "_")} ${x.closed ? "closed" : "open"}${x.changed ? ", changed" : ""}`);
      });
    },
  };
}

/** The text of a step: what is asked of it now, or what is on record. */
function words() {
  const parts = {
    title: line("proof-title", { "data-test": "step" }), says: line("parts-say", { "data-test": "says" }),
    stands: line("strong", { "data-test": "stands" }), measured: line("", { "data-test": "measured" }),
    todo: line(), limit: line(), source: line("rule"), barred: line("strong", { "data-test": "barred" }),
  };
  const levels = levelList();
  const found = el("ul", { class: "lines", "data-test": "found" });
  const { title, says, stands, measured, barred, todo, limit, source } = parts;
  const record = (row) => {
    if (!row.here) return "The panel does not make this step. Make it by hand and keep its sheet.";
    return `${STANDS[row.standing] ?? ""}${row.simulated && row.measured ? " On the simulated table." : ""}`;
  };
  return {
    // What is asked comes first; which step it is belongs to it.
    nodes: [says.node, found, title.node, levels.node, stands.node, measured.node, barred.node, todo.node, limit.node, source.node],
    draw(now) {
      const { row, open } = now;
      const steps = `Step ${row.number} of ${now.rows.length}: ${row.name}`;
      title.say(open ? `${steps}, ${open.left} to go` : steps);
      says.say(open ? open.says ?? "The panel is at work. Stay clear." : "");
      show(levels.node, open !== null);
      if (open) levels.draw(open);
      keyed(found, (open?.found ?? []).map((text, k) => ({ text, k })), (x) => String(x.k), () => el("li", { class: "wrong" }, el("i", { class: "triangle" }), el("span")), (item, x) => setText(item.lastElementChild, x.text));
      show(found, open !== null && open.found.length > 0);
      stands.say(open ? "" : record(row));
      measured.say(open ? open.measured.join(" ") : row.measured ?? "");
      barred.say(!open && row.here && row.refused ? `Not now: ${row.refused}` : "");
      todo.say(open ? "" : row.todo);
      limit.say(open ? "" : `It passes: ${row.limit}.${row.guards ? " It guards a person: START is shut before it stands." : ""}`);
      source.say(open ? "" : `Limit: ${row.source}.`);
    },
  };
}

export function mount(root, store, actions, signal) {
  const strip = stepStrip();
  const text = words();
  const told = pager(signal, "proof-says");
  told.text.append(...text.nodes);
  const answer = (yes) => () => actions.ask({ kind: "commission-answer", yes });
  const yes = button("It is so", signal, answer(true), "words");
  const no = button("It is not so", signal, answer(false), "words");
  const hands = button("At the table: do it", signal, () => actions.setRight(), "words practice-only");
  const begin = button("", signal, () => actions.ask({ kind: "commission-step", step: proving(store.get()).row.step }), "words");
  const reads = line("reads", { "data-test": "reads" });
  const pulse = keepPressed(FOLLOWS.pulses, signal, {
    may: () => can(store.get(), "commission-answer") && proving(store.get())?.open?.follows === "pulses",
    done: answer(true),
  });
  const first = keepPressed("", signal, {
    may: () => ["home", "permit-test"].includes(proofAct(store.get())?.act),
    done: () => actions.ask({ kind: proofAct(store.get()).act }),
  });
  const vouch = button(FIRST.vouch, signal, () => actions.act(proofAct(store.get())), "words");
  const leave = button("", signal, () => actions.ask({ kind: "commission-leave" }), "words plain");
  const leaves = () => actions.page(null);
  const back = button("Back", signal, leaves, "plain pictured-back");
  // Beside what starts something there is nothing: then it stands on the other side.
  const backAside = button("Back", signal, leaves, "plain pictured-back");
  const turnTo = (by) => () => actions.proof(proving(store.get()).at + by);
  const earlier = button("Step before", signal, turnTo(-1), "plain");
  const later = button("Next step", signal, turnTo(1), "plain");
  const mayFire = () => store.get().readyAt !== null && can(store.get(), "commission-answer");
  const fire = twoSteps(signal, { words: FOLLOWS.fires, may: mayFire, ready: () => actions.ready("commission-answer"), done: answer(true) });
  const inTwo = el("div", { class: "two-row" }, fire.first, el("div", { class: "between" }), fire.second);
  root.append(
    inTwo,
    side("left", { heads: [strip.node], middle: [told.node], feet: [backAside, leave, earlier, later, told.turn] }),
    side("column", { heads: [pulse.node, first.node, vouch, begin, yes, no, hands], middle: [reads.node], feet: [back] }),
  );

  store.subscribe((state) => {
    const now = proving(state);
    if (!now) return;
    const { open, row } = now;
    const due = proofAct(state)?.act ?? null;
    const asks = open?.answer === true && can(state, "commission-answer");
    const follows = asks ? open.follows : null;
    const starts = follows === "pulses" || ["home", "permit-test"].includes(due);
    setData(root, "follows", follows ?? (starts ? due : null));
    root.classList.toggle("in-two", follows === "fires");
    setData(root, "open", open ? "" : null);
    strip.draw(now.rows, now.at);
    text.draw(now);
    show(inTwo, follows === "fires");
    if (follows === "fires") fire.draw(mayFire(), FOLLOWS.fires);
    show(pulse.node, follows === "pulses");
    show(first.node, ["home", "permit-test"].includes(due));
    first.relabel(FIRST[due] ?? "");
    show(vouch, due === "vouch");
    show(begin, !open && row.here && !row.refused && can(state, "commission-step"));
    relabel(begin, `${row.measured === null ? "Make" : "Make again"}: step ${row.number}`);
    const worked = open?.wire ? open.levels.find((x) => x.wire === open.wire[0]) : null;
    reads.say(worked ? `It reads ${worked.closed ? "closed" : "open"}${worked.changed ? ", changed" : ""}.` : "");
    show(yes, asks && !follows);
    show(no, asks && !follows);
    show(hands, state.table?.practice === true && Boolean(open?.wire));
    relabel(leave, follows ? "It is not so: leave the step" : "Leave the step: nothing is kept");
    show(leave, open !== null && can(state, "commission-leave"));
    show(back, !open && !starts);
    show(backAside, !open && starts);
    // What starts anything has nothing near it.
    show(earlier, !open && !starts && now.at > 0);
    show(later, !open && !starts && now.at + 1 < now.rows.length);
    told.draw();
  }, signal);
}
