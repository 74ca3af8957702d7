// One run of the record: how it went, what happened in it, and what may be done with it: shown again, saved.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { clock, count } from "../lib/format.js";
import { mayReplay, record, runInHand, seeking } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";

export function mount(root, store, actions, signal) {
  const facts = pager(signal);
  const title = el("h2");
  const [how, cuts, why] = [line(), line(), line("do-line")];
  facts.text.append(title, how.node, cuts.node, why.node);
  const block = el("div", { class: "run-facts" }, facts.node);
  const rows = pager(signal);
  const lines = el("ul", { class: "lines record", "data-test": "record" });
  const trouble = line();
  rows.text.append(trouble.node, lines);
  const back = button("Back", signal, () => actions.seek({ list: "runs", run: null, page: "runs" }), "plain pictured-back");
  const faults = button("Its faults", signal, () => actions.seek({ list: "faults", page: "runs" }), "plain");
  const save = button("Save", signal, () => actions.page("save"), "plain");
  const replay = button("Replay", signal, () => actions.replayRun(seeking(store.get()).run, null));
  root.append(block, el("div", { class: "run-rows" }, rows.node), el("div", { class: "feet" }, back, faults, save, replay, facts.turn, rows.turn));

  store.subscribe((state) => {
    const { run, trouble: wrong } = seeking(state);
    const told = runInHand(state);
    setText(title, `Run ${run}${told?.name ? `: ${told.name}` : ""}`);
    how.say(told ? `Began ${clock(new Date(told.wall_ms))}${told.unsure ? "?" : ""}, ${told.outcome ? told.outcome.replaceAll("-", " ") : "no end is recorded"}.` : "");
    cuts.say(told ? `${told.cuts_done ?? "Not known how many"} of ${count(told.cuts ?? 0, "cut")}, ${count(told.stops, "stop")}.` : "");
    const bar = mayReplay(state);
    why.say(bar === null ? "" : `Replay: ${bar}`);
    facts.draw();
    const events = record(state);
    trouble.say(wrong ?? (events === null ? "Being read." : events.length === 0 ? "Nothing is recorded." : ""));
    keyed(lines, events ?? [], (e) => String(e.id), () => el("li", {}, el("time"), el("span")), (node, e) => {
      setText(node.firstElementChild, clock(new Date(e.wall_ms)) + (e.unsure ? "?" : ""));
      setText(node.lastElementChild, e.says);
      setData(node, "severity", e.severity);
    });
    rows.draw();
    show(faults, (told?.stops ?? 0) > 0);
    show(replay, bar === null);
    relabel(replay, "Replay");
  }, signal);
}
