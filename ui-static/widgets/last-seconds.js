// The last five seconds before a stop, small: the arc, its volts against what they should be, the height.

import { lastSeconds } from "../lib/curves.js";
import { el, setText, show } from "../lib/dom.js";
import { number } from "../lib/format.js";
import { stopMeasured } from "../state/select.js";

/** The drawing's own units: its box is stretched to the room that it has. */
const BOX = [1000, 100];
/** What is shown about the stop, s. */
const WINDOW = [-5, 0.5];
const NAMES = { "arc-ok": "Arc", volts: "Volts", height_mm: "Height" };
const NS = "http://www.w3.org/2000/svg";

function path(look) {
  const node = document.createElementNS(NS, "path");
  node.setAttribute("class", look);
  node.setAttribute("vector-effect", "non-scaling-stroke");
  return node;
}

function row(key) {
  const drawing = document.createElementNS(NS, "svg");
  for (const [name, value] of [["viewBox", `0 0 ${BOX[0]} ${BOX[1]}`], ["preserveAspectRatio", "none"], ["aria-hidden", "true"]]) drawing.setAttribute(name, value);
  const [zero, target, line] = [path("fault-line"), path("target-line"), path(`curve${key === "arc-ok" ? " level" : ""}`)];
  const x = ((0 - WINDOW[0]) / (WINDOW[1] - WINDOW[0])) * BOX[0];
  zero.setAttribute("d", `M${x} 0V${BOX[1]}`);
  drawing.append(zero, target, line);
  const value = el("b");
  const node = el("li", { "data-lane": key }, el("span", { text: NAMES[key] }), drawing, value);
  return { node, draw({ lane, d, target: should, line: level, last }) {
    line.setAttribute("d", d);
    target.setAttribute("d", level === null ? "" : `M0 ${level}H${BOX[0]}`);
    if (lane.level) setText(value, "");
    else if (last === null) setText(value, "");
    else setText(value, should === null ? number(last, lane.decimals) : `${number(last, lane.decimals)} of ${number(should, lane.decimals)}`);
  } };
}

export function lastSecondsOf() {
  const rows = ["arc-ok", "volts", "height_mm"].map(row);
  const node = el("ul", { class: "last-seconds", "data-test": "last-seconds" }, ...rows.map((r) => r.node));
  show(node, false);
  let drawn = null;
  return { node, draw(state) {
    const stop = stopMeasured(state);
    show(node, Boolean(stop?.trace));
    if (!stop?.trace || drawn === stop.trace) return;
    drawn = stop.trace;
    lastSeconds(stop.trace, { volts: stop.volts, height_mm: stop.height_mm }, WINDOW, BOX).forEach((lane, k) => rows[k].draw(lane));
  } };
}
