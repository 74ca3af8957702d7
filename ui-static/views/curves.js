// The curves about a fault: what the machine did before and after it, on one axis of time. Faults are turned
// one by one, the newest first; the window goes earlier, later, closer.

import { el, keyed, setText, show } from "../lib/dom.js";
import { LANES, WINDOWS, curve, ticks, times, values } from "../lib/curves.js";
import { after, clock, number } from "../lib/format.js";
import { faultsDrawn } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

/** The drawing's own units: its box is stretched to the room that it has. */
const [WIDE, HIGH] = [1000, 100];
/** So much of a new window lies before the fault. */
const BEFORE = 0.6;

/** A number of the scale further to the right than this would reach beyond it, percent. */
const ROOM = 96;

const NS = "http://www.w3.org/2000/svg";

function svg(tag, attributes) {
  const node = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  return node;
}

function laneRow(lane) {
  const path = svg("path", { class: `curve${lane.level ? " level" : ""}`, "vector-effect": "non-scaling-stroke" });
  const zero = svg("path", { class: "fault-line", d: "", "vector-effect": "non-scaling-stroke" });
  const drawing = svg("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, preserveAspectRatio: "none", "aria-hidden": "true" });
  drawing.append(zero, path);
  const value = el("b");
  const node = el("li", { "data-lane": lane.key }, el("span", {}, lane.name), value, drawing);
  return { node, draw(at, all, window) {
    const { d, now } = curve(at, all, lane, window, [WIDE, HIGH]);
    path.setAttribute("d", d);
    const x = ((0 - window[0]) / (window[1] - window[0])) * WIDE;
    zero.setAttribute("d", x >= 0 && x <= WIDE ? `M${x} 0V${HIGH}` : "");
    if (lane.level) setText(value, now === null ? "?" : now ? "on" : "off");
    else setText(value, now === null ? "- - -" : `${number(now, lane.decimals)} ${lane.unit}`);
  } };
}

/** The fault in words: what came first, and what followed. */
function inWords(signal) {
  const { node, text, turn, draw } = pager(signal);
  const [first, when] = [el("h2"), line()];
  const then = el("ul", { class: "lines then" });
  text.append(el("p", { class: "first-word", text: "FIRST" }), first, when.node, then);
  return { node, turn, draw(fault) {
    const [head, ...rest] = fault?.events ?? [];
    setText(first, head?.says ?? "");
    when.say(head ? clock(new Date(head.wall_ms)) : "");
    keyed(then, rest, (e) => String(e.id), () => el("li"), (li, e) => setText(li, `then ${after(e.at_s - head.at_s)}  ${e.says}`));
    draw();
  } };
}

export function mount(root, store, actions, signal) {
  const lanes = LANES.map((lane) => ({ lane, row: laneRow(lane) }));
  const list = el("ul", { class: "lanes", "data-test": "lanes" }, ...lanes.map((l) => l.row.node));
  const scale = el("ol", { class: "time-scale", "aria-hidden": "true" });
  const none = line();
  const told = inWords(signal);

  let at = 0;
  let [wide, from] = [1, 0];
  let drawn = { name: null, at: [], lanes: [] };
  const whole = () => {
    wide = 1;
    from = -WINDOWS[1] * BEFORE;
  };
  whole();
  const turn = (by) => {
    at += by;
    whole();
    draw();
  };
  const move = (by) => {
    from += by * WINDOWS[wide] * 0.5;
    draw();
  };
  const older = button("Fault before", signal, () => turn(1), "plain");
  const newer = button("Fault after", signal, () => turn(-1), "plain");
  const earlier = button("Earlier", signal, () => move(-1), "plain");
  const later = button("Later", signal, () => move(1), "plain");
  const closer = button("", signal, () => {
    // What lies at the fault's own line stays where it is, or the middle of the window where that is out of it.
    const middle = from <= 0 && from + WINDOWS[wide] >= 0 ? 0 : from + WINDOWS[wide] / 2;
    const part = (middle - from) / WINDOWS[wide];
    wide = (wide + 1) % WINDOWS.length;
    from = middle - part * WINDOWS[wide];
    draw();
  }, "plain");
  const back = button("Back", signal, () => actions.page("happened"), "plain pictured-back");
  root.append(
    side("left", { middle: [none.node, list, scale] }),
    side("column", { middle: [told.node] }),
    el("div", { class: "feet" }, back, older, newer, earlier, closer, later, told.turn),
  );
  actions.fetchEvents();

  function draw() {
    const state = store.get();
    const faults = faultsDrawn(state);
    at = Math.min(Math.max(at, 0), Math.max(0, faults.length - 1));
    const fault = faults[at] ?? null;
    const trace = fault && state.trace.name === fault.trace ? state.trace.curves : null;
    if (fault && state.trace.name !== fault.trace) actions.fetchTrace(fault.trace);
    none.say(state.trace.trouble ?? (fault ? "" : "No stop has been recorded yet."));
    show(list, Boolean(trace));
    show(scale, Boolean(trace));
    show(older, at + 1 < faults.length);
    show(newer, at > 0);
    for (const key of [earlier, later, closer]) show(key, Boolean(trace));
    relabel(closer, wide + 1 < WINDOWS.length ? "Closer" : "Whole");
    told.draw(fault);
    if (!trace) return;
    if (drawn.name !== fault.trace) drawn = { name: fault.trace, at: times(trace), lanes: LANES.map((lane) => values(trace, lane)) };
    const [begins, ends] = [drawn.at[0], drawn.at.at(-1)];
    from = Math.min(Math.max(from, begins), Math.max(begins, ends - WINDOWS[wide]));
    const window = [from, from + WINDOWS[wide]];
    lanes.forEach(({ row }, k) => row.draw(drawn.at, drawn.lanes[k], window));
    const x = (t) => ((t - window[0]) / (window[1] - window[0])) * 100;
    keyed(scale, ticks(window).filter((t) => x(t) <= ROOM), (t) => t.toFixed(3), () => el("li"), (node, t) => {
      setText(node, t === 0 ? "0" : number(t, WINDOWS[wide] <= 1 ? 2 : WINDOWS[wide] <= 3 ? 1 : 0));
      node.style.left = `${x(t)}%`;
    });
  }
  store.subscribe(draw, signal);
}
