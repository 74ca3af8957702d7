// One fault: what came first and what followed, whether it is safe to go near now, the plate at that instant, and
// the curves about it on one axis of time. Faults are turned one by one, the newest first; the window goes earlier,
// later, closer.

import { el, keyed, setText, show } from "../lib/dom.js";
import { LANES, WINDOWS, curve, placeAt, ticks, times, values } from "../lib/curves.js";
import { after, clock, number } from "../lib/format.js";
import { didAbout, drawing, faultsListed, mayReplay, seeking } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { nearLine } from "../widgets/near.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";

/** The drawing's own units: its box is stretched to the room that it has. */
const [WIDE, HIGH] = [1000, 100];
/** So much of a new window lies before the fault. */
const BEFORE = 0.6;

/** So many lines tell what happened after it; the run's page has all. */
const MOST_ACTS = 8;

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
  const [remedy, machine] = [line("do-line"), line("first-word")];
  const did = el("ul", { class: "lines did" });
  text.append(el("p", { class: "first-word", text: "FIRST" }), first, when.node, then, remedy.node, machine.node, did);
  return { node, turn, draw(state, fault) {
    const [head, ...rest] = fault?.events ?? [];
    const acts = fault ? didAbout(state, fault).slice(0, MOST_ACTS) : [];
    remedy.say(head?.advice ? `Do: ${head.advice}` : "");
    machine.say(acts.length > 0 ? "ON RECORD AFTER IT" : "");
    keyed(did, acts, (e) => String(e.id), () => el("li"), (li, e) => setText(li, `${after(e.at_s - head.at_s)}  ${e.says}`));
    setText(first, head?.says ?? "");
    when.say(head ? clock(new Date(head.wall_ms)) : "");
    keyed(then, rest, (e) => String(e.id), () => el("li"), (li, e) => setText(li, `then ${after(e.at_s - head.at_s)}  ${e.says}`));
    draw();
  } };
}

/** The plate as it was: from the recording where nothing goes on, else as it is, with the torch where it was. */
function plateAt(actions) {
  const sheet = plate({ scales: false });
  const box = el("div", { class: "instant", "data-test": "instant" }, sheet.node);
  return { node: box, draw(state, fault, trace) {
    const head = fault?.events[0];
    if (head && mayReplay(state) === null && state.instant?.key !== fault.key) actions.fetchInstant(fault.key, head.start, Math.round(head.at_s * 1e6));
    const then = state.instant?.key === fault?.key && state.instant?.view ? state.instant : null;
    const ours = head && head.run !== null && head.run === state.view?.run;
    const of = then ?? (ours && drawing(state) ? { view: state.view, job: state.job } : null);
    const place = trace ? placeAt(trace) : then?.view.torch.place ?? null;
    show(box, Boolean(of?.job));
    if (!of?.job) return;
    const torch = { ...of.view.torch, place, age_s: 0, moving: false };
    const flag = place ? { number: 1, cut: of.view.cut ?? 1, at_mm: 0, place, cause: "fault" } : null;
    // Its flags of before stay; the one of this fault is drawn where the torch was.
    const marks = then ? then.view.marks.filter((m) => !place || Math.hypot(m.place[0] - place[0], m.place[1] - place[1]) > 1) : [];
    sheet.draw({ drawing: of.job.drawing, cuts: of.view.cuts, marks: flag ? [...marks, { ...flag, number: marks.length + 1 }] : marks, entries: of.view.entries ?? [], torch, fresh: place ? "live" : "lost" });
  } };
}

/** The axis of time below the lanes. */
function drawScale(scale, window) {
  const wide = Math.round((window[1] - window[0]) * 1000) / 1000;
  const x = (t) => ((t - window[0]) / wide) * 100;
  const decimals = wide <= 1 ? 2 : wide <= 3 ? 1 : 0;
  keyed(scale, ticks(window).filter((t) => x(t) <= ROOM), (t) => t.toFixed(3), () => el("li"), (node, t) => {
    setText(node, t === 0 ? "0" : number(t, decimals));
    node.style.left = `${x(t)}%`;
  });
}

/** Which of the faults was opened, by its key; else the latest that has curves, if any has. */
const opened = (faults, key) => Math.max(0, faults.findIndex((f) => (key === null ? f.trace !== null : f.key === key)));

export function mount(root, store, actions, signal) {
  const lanes = LANES.map((lane) => ({ lane, row: laneRow(lane) }));
  const list = el("ul", { class: "lanes", "data-test": "lanes" }, ...lanes.map((l) => l.row.node));
  const scale = el("ol", { class: "time-scale", "aria-hidden": "true" });
  const [none, told, near, instant] = [line(), inWords(signal), nearLine(), plateAt(actions)];

  /** Where the fault that was opened is in the list, once that was read. */
  let wanted = seeking(store.get()).fault;
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
  // Where it was opened from.
  const back = button("Back", signal, () => actions.page(seeking(store.get()).fault === null ? "happened" : "runs"), "plain pictured-back");
  root.append(
    side("left", { middle: [none.node, list, scale] }),
    side("column", { heads: [near.node], middle: [told.node, instant.node] }),
    el("div", { class: "feet" }, back, older, newer, earlier, closer, later, told.turn),
  );
  actions.fetchEvents();

  function draw() {
    const state = store.get();
    const faults = faultsListed(state) ?? [];
    if (faults.length > 0 && wanted !== undefined) {
      at = opened(faults, wanted);
      wanted = undefined;
    }
    at = Math.min(Math.max(at, 0), Math.max(0, faults.length - 1));
    const fault = faults[at] ?? null;
    const drawable = fault?.trace ?? null;
    const trace = drawable && state.trace.name === drawable ? state.trace.curves : null;
    if (drawable && state.trace.name !== drawable) actions.fetchTrace(drawable);
    none.say(fault ? (drawable ? state.trace.trouble ?? "" : "No curves of it are kept.") : "No stop has been recorded yet.");
    show(list, Boolean(trace));
    show(scale, Boolean(trace));
    show(older, at + 1 < faults.length);
    show(newer, at > 0);
    for (const key of [earlier, later, closer]) show(key, Boolean(trace));
    relabel(closer, wide + 1 < WINDOWS.length ? "Closer" : "Whole");
    near.draw(state);
    told.draw(state, fault);
    instant.draw(state, fault, trace);
    if (!trace) return;
    if (drawn.name !== fault.trace) drawn = { name: fault.trace, at: times(trace), lanes: LANES.map((lane) => values(trace, lane)) };
    const [begins, ends] = [drawn.at[0], drawn.at.at(-1)];
    from = Math.min(Math.max(from, begins), Math.max(begins, ends - WINDOWS[wide]));
    const window = [from, from + WINDOWS[wide]];
    lanes.forEach(({ row }, k) => row.draw(drawn.at, drawn.lanes[k], window));
    drawScale(scale, window);
  }
  store.subscribe(draw, signal);
}
