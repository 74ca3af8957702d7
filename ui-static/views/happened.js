// What happened: the first cause, what followed, what to do; and the record, page by page.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { after, clock } from "../lib/format.js";
import { alarms, can, faultsDrawn, record } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { nearLine } from "../widgets/near.js";
import { line, pager } from "../widgets/pager.js";

/** So many rows of the record are at hand here; the log has them all. */
const ROWS = 120;
/** So many lines follow the first cause, the rest is folded. */
const MOST = 3;

/** Nothing that is said here is leave to touch the torch. */
function torch(view) {
  const source = view?.signals.source_on;
  if (source === false) return "Torch power is seen off.";
  return source === true ? "Torch power is on: do not touch the torch." : "The panel cannot tell whether torch power is on: do not touch the torch.";
}

export function mount(root, store, actions, signal) {
  const near = nearLine();
  const cause = pager(signal);
  const first = el("p", { class: "first-word", text: "FIRST" });
  const what = el("h2");
  const [why, remedy, power] = [line(), line("do-line"), line()];
  const then = el("ul", { class: "lines then" });
  cause.text.append(first, what, why.node, remedy.node, then, power.node);
  const block = el("div", { class: "first-cause" }, cause.node);
  const rows = pager(signal);
  const lines = el("ul", { class: "lines record", "data-test": "record" });
  const trouble = line();
  rows.text.append(trouble.node, lines);
  const seen = button("", signal, () => actions.seenOrClear(), "of-cause");
  const curves = button("Curves", signal, () => actions.openFault(null, null), "plain of-record");
  const runs = button("Runs", signal, () => actions.seek({ list: "runs", run: null, page: "runs" }), "plain of-record to-runs");
  const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
  // Where there is room for one of the two, one is shown.
  const swap = button("", signal, () => showsRecord(root.dataset.shows !== "record"), "plain small-only");
  const showsRecord = (yes) => {
    setData(root, "shows", yes ? "record" : "cause");
    relabel(swap, yes ? "First cause" : "Record");
  };
  showsRecord(alarms(store.get()).length === 0);
  root.append(near.node, block, el("div", { class: "rows" }, rows.node), el("div", { class: "feet" }, back, seen, curves, runs, cause.turn, swap, rows.turn));
  actions.fetchEvents();

  store.subscribe((state) => {
    const list = alarms(state);
    const head = list.find((a) => a.head) ?? null;
    near.draw(state);
    setData(root, "alarmed", head ? "" : null);
    show(first, Boolean(head));
    setData(block, "level", head?.level ?? null);
    setData(block, "seen", head ? (head.seen ? (head.gone ? "gone" : "seen") : "new") : "none");
    setText(what, head?.what ?? "No alarm stands.");
    why.say(head ? `Why: ${head.why}` : "");
    remedy.say(head ? `Do: ${head.remedy}` : "");
    power.say(torch(state.view));
    const others = list.filter((a) => a !== head);
    const shown = others.slice(0, MOST);
    keyed(then, shown, (a) => a.cause, () => el("li"), (node, a) => setText(node, `then ${after(a.after_s)}  ${a.what}`));
    if (others.length > MOST) setText(then.lastElementChild, `${others.length - MOST + 1} more in the record`);
    cause.draw();

    const events = record(state);
    const unsure = (events ?? []).slice(-ROWS).some((e) => e.unsure);
    const note = unsure ? "Times with a ? are unsure: this board's clock was not set. Their order is right." : "";
    trouble.say(state.events.trouble ?? (events === null ? "Being read." : events.length === 0 ? "Nothing is recorded yet." : note));
    // The newest first: what has just happened is read without turning a page.
    const told = (events ?? []).slice(-ROWS).reverse();
    keyed(lines, told, (e) => String(e.id), () => el("li", {}, el("time"), el("span")), (node, e) => {
      setText(node.firstElementChild, clock(new Date(e.wall_ms)) + (e.unsure ? "?" : ""));
      setText(node.lastElementChild, e.says);
      setData(node, "severity", e.severity);
    });
    rows.draw();
    show(curves, faultsDrawn(state).length > 0);
    const unseen = list.find((a) => !a.seen);
    const clearable = list.find((a) => a.latched && a.gone);
    show(seen, Boolean((unseen && can(state, "seen")) || (clearable && can(state, "clear"))));
    relabel(seen, unseen ? "Seen" : "Clear");
  }, signal);
}
