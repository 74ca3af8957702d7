// The runs that are on record, and what stopped the machine: a list of each, in rows that are opened.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { clock, count } from "../lib/format.js";
import { faultsListed, runsListed, seeking } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { nearLine } from "../widgets/near.js";
import { line } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

/** Rows of a page: with the keys below and HOLD eight targets. */
const MOST = 3;
const OUTCOME = { finished: "finished", ended: "ended by hand", "given-up": "given up" };

/** The day is named where it is another than today's. */
function when(ms, unsure) {
  const at = new Date(ms);
  const today = new Date().toDateString() === at.toDateString();
  return `${today ? "" : `${at.getDate()}.${at.getMonth() + 1}. `}${clock(at)}${unsure ? "?" : ""}`;
}

function runRow(r) {
  const cuts = r.cuts_done === null ? (r.cuts === null ? "" : count(r.cuts, "cut")) : `${r.cuts_done} of ${count(r.cuts ?? r.cuts_done, "cut")}`;
  const stops = r.stops === 0 ? "no stop" : count(r.stops, "stop");
  return { key: `run ${r.run}`, head: `Run ${r.run}  ${r.name ?? ""}`, time: when(r.wall_ms, r.unsure), more: [OUTCOME[r.outcome] ?? r.outcome ?? "not ended", cuts, stops].filter(Boolean).join(", "), level: r.stops > 0 ? "stop" : "normal" };
}

function faultRow(f) {
  const [head, ...rest] = f.events;
  return { key: f.key, head: head.says, time: when(head.wall_ms, head.unsure), more: [head.run === null ? "outside a run" : `run ${head.run}`, rest.length > 0 && `${rest.length} more with it`, !f.trace && "no curves"].filter(Boolean).join(", "), level: head.severity };
}

export function mount(root, store, actions, signal) {
  const near = nearLine();
  const none = line("say-line");
  const rows = el("div", { class: "record-rows", "data-test": "rows" });
  const title = el("h2", { class: "caption" });
  let from = 0;
  let fits = MOST;
  const back = button("Back", signal, () => actions.page("happened"), "plain pictured-back");
  const swap = button("", signal, () => {
    from = 0;
    actions.seek(seeking(store.get()).list === "runs" ? { list: "faults", run: null } : { list: "runs", run: null });
  });
  const earlier = button("Earlier", signal, () => turn(fits), "plain");
  const later = button("Later", signal, () => turn(-fits), "plain");
  const turn = (by) => {
    from = Math.max(0, from + by);
    draw();
  };
  root.append(
    side("left", { heads: [title], middle: [none.node, rows] }),
    side("column", { heads: [near.node], feet: [earlier, later, swap, back] }),
  );
  const room = new ResizeObserver(() => requestAnimationFrame(draw));
  room.observe(rows);
  signal.addEventListener("abort", () => room.disconnect());
  actions.seek({});

  function draw() {
    const state = store.get();
    const { list, run, trouble } = seeking(state);
    const found = list === "runs" ? runsListed(state) : faultsListed(state);
    near.draw(state);
    setText(title, list === "runs" ? "Runs" : run === null ? "Faults" : `Faults of run ${run}`);
    relabel(swap, list === "runs" ? "Faults" : "Runs");
    const told = list === "runs" ? "No run is recorded yet." : "Nothing has stopped the machine.";
    none.say(trouble ?? (found === null ? "Being read." : found.length === 0 ? told : ""));
    const px = actions.pxPerMm();
    const small = document.documentElement.dataset.glass === "small";
    const gap = (small ? 3 : 6) * px;
    fits = Math.min(MOST, Math.max(1, Math.floor((rows.clientHeight + gap + 1) / (20 * px + gap))));
    from = Math.min(from, Math.max(0, (found?.length ?? 0) - 1));
    const shown = (found ?? []).slice(from, from + fits);
    keyed(rows, shown.map((one) => (list === "runs" ? runRow(one) : faultRow(one))), (r) => r.key, (r) => {
      const words = el("span", { class: "row-words" }, el("b"), el("small"));
      const node = button("", signal, () => {
        if (node.dataset.key.startsWith("run ")) actions.openRun(Number(node.dataset.key.slice(4)));
        else actions.openFault(node.dataset.key);
      }, "record-row");
      node.replaceChildren(el("time"), words);
      return Object.assign(node, { rowOf: r.key });
    }, (node, r) => {
      const [time, words] = node.children;
      setText(time, r.time);
      setText(words.firstElementChild, r.head);
      setText(words.lastElementChild, r.more);
      setData(node, "severity", r.level);
    });
    show(earlier, from + fits < (found?.length ?? 0));
    show(later, from > 0);
  }
  store.subscribe(draw, signal);
}
