// The plan of a job before START: one line of time with air, duty of the source and wear of the torch parts, and
// the pauses that are proposed, to accept or to leave.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { count, duration, number } from "../lib/format.js";
import { bands, lanes, shape, ticks } from "../lib/timeline.js";
import { LANE, PAUSE, planned } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

const [WIDE, HIGH] = [1000, 100];
const NS = "http://www.w3.org/2000/svg";

function svg(tag, attributes) {
  const node = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  return node;
}

function laneRow() {
  const path = svg("path", { class: "curve", "vector-effect": "non-scaling-stroke" });
  const limit = svg("path", { class: "limit-line", "vector-effect": "non-scaling-stroke" });
  const pauses = svg("g", { class: "pause-bands" });
  const drawing = svg("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, preserveAspectRatio: "none", "aria-hidden": "true" });
  drawing.append(pauses, limit, path);
  const [name, value, bound] = [el("span"), el("b"), el("span", { class: "bound" })];
  const node = el("li", {}, name, value, bound, drawing);
  node.drawLane = (plan, lane) => {
    const { d, limit: at, holds } = shape(lane, plan.line, plan.run_s, [WIDE, HIGH]);
    path.setAttribute("d", d);
    limit.setAttribute("d", at);
    setData(node, "lane", lane.key);
    setData(node, "holds", holds ? null : "no");
    const [most, least, unit] = told(plan, lane.key);
    setText(name, LANE[lane.key]);
    setText(value, most);
    setText(bound, `${least} ${unit}`);
    const all = bands(plan.pauses, plan.run_s);
    pauses.replaceChildren(...all.map((b) => svg("rect", { x: b.from * WIDE, y: 0, width: b.wide * WIDE, height: HIGH })));
  };
  return node;
}

/** The worst of a lane, and its limit. */
function told(plan, key) {
  if (key === "air") return [`${number(plan.air.lowest_bar, 1)} bar`, "low is", `${number(plan.air.low_bar, 1)} bar`];
  if (key === "duty") return [duration(plan.duty.most_s), "may be", duration(plan.duty.limit_s)];
  return [`${number(100 * plan.wear.after)} %`, "change at", "100 %"];
}

/** The plan in words: time, pauses, what no pause puts right. */
function sentences({ plan, pauses, first, accepted }) {
  const time = `${duration(plan.run_s)} in all, ${duration(plan.arc_on_s)} with the arc on.`;
  const all = [{ id: "time", says: time }];
  if (plan.pauses_s > 0) all.push({ id: "pauses", says: `Pauses are ${duration(plan.pauses_s)} of it.` });
  for (const [k, says] of plan.hopeless.entries()) all.push({ id: `hopeless ${k}`, says });
  if (first) all.push({ id: "first", says: "Change the torch parts before START." });
  pauses.forEach((p, k) => all.push({ id: `pause ${k}`, says: `Before cut ${p.before_cut}, after ${duration(p.at_s)}: ${PAUSE[p.cause](p.wait_s)}` }));
  if (pauses.length === 0) all.push({ id: "none", says: "No pause is wanted." });
  else all.push({ id: "accepted", says: accepted ? "Accepted: the run stands there and goes on when asked." : "Not accepted yet." });
  if (plan.hottest) all.push({ id: "hot", says: `The sheet gets ${number(plan.hottest.rise_k)} K hotter than its mean in cut ${plan.hottest.cut}.` });
  if (plan.cost) all.push({ id: "cost", says: `Cost ${number(plan.cost.parts + plan.cost.time, 2)}: torch parts ${number(plan.cost.parts, 2)}, time ${number(plan.cost.time, 2)}.` });
  return all;
}

export function mount(root, store, actions, signal) {
  const list = el("ul", { class: "plan-lanes", "data-test": "plan-lanes" });
  const scale = el("ol", { class: "plan-scale", "aria-hidden": "true" });
  const none = line();
  const text = pager(signal, "facts");
  const says = el("div", { class: "plan-says", "data-test": "plan-says" });
  text.text.append(says);
  const back = button("Back", signal, () => actions.page("report"), "plain pictured-back");
  const accept = button("", signal, () => {
    const p = planned(store.get());
    if (p) actions.pauses(!p.accepted);
  });
  root.append(
    side("left", { middle: [none.node, list, scale] }),
    side("column", { heads: [el("h2", { class: "caption", text: "Plan of the job" })], middle: [text.node] }),
    el("div", { class: "feet" }, back, accept, text.turn),
  );
  store.subscribe((state) => {
    const p = planned(state);
    none.say(p ? "" : "There is no plan: no setup or no chart row.");
    for (const node of [list, scale]) show(node, Boolean(p));
    show(accept, Boolean(p && p.pauses.length > 0));
    if (!p) return;
    relabel(accept, p.accepted ? "Take the pauses back" : `Accept ${count(p.pauses.length, "pause")}`);
    keyed(list, lanes(p.plan), (lane) => lane.key, laneRow, (node, lane) => node.drawLane(p.plan, lane));
    keyed(scale, ticks(p.plan.run_s), String, () => el("li"), (node, t) => {
      setText(node, duration(t));
      node.style.left = `${(t / p.plan.run_s) * 100}%`;
    });
    keyed(says, sentences(p), (s) => s.id, () => el("p"), (node, s) => setText(node, s.says));
    text.draw();
  }, signal);
}
