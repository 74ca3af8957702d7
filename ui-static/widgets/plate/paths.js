// The cuts: pale is to come, black is gone, struck is left out; the pierce as a punched ring.

import { left, pointAt, slice } from "../../lib/path.js";
import { colours, trace } from "../ink.js";
import { slotWidth } from "./geometry.js";

/** A cut as far as it is done. `thick`: it is the one in hand. */
export function drawCut(c, v, cut, state, thick) {
  const ink = colours();
  const done = state.state === "done" ? [[0, cut.length_mm]] : state.done;
  const line = (places, colour, width, dash = []) => {
    trace(c, places, v.at);
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.setLineDash(dash);
    c.stroke();
  };
  c.lineCap = "butt";
  c.lineJoin = "round";
  if (state.state === "skipped") {
    line(cut.points, ink.chalk, 3, [10, 8]);
    const at = pointAt(cut.points, cut.length_mm / 2);
    const [x, y] = v.at(at);
    c.setLineDash([]);
    c.beginPath();
    c.moveTo(x - 12, y + 12);
    c.lineTo(x + 12, y - 12);
    c.stroke();
  } else if (state.state !== "done") {
    const width = thick ? 7 : v.many ? 2 : 3;
    for (const [from, to] of left(done, cut.length_mm)) {
      const places = slice(cut.points, from, to);
      line(places, ink.chalk, width);
      if (thick) line(places, ink.slot, 2);
    }
  }
  for (const [from, to] of done) {
    const places = slice(cut.points, from, to);
    if (places.length > 1) line(places, ink.slot, slotWidth(v));
  }
  c.setLineDash([]);
  if (!v.plain) drawPierce(c, v, cut, state);
}

export function drawPierce(c, v, cut, state) {
  const ink = colours();
  const [x, y] = v.at(cut.pierce);
  const gone = state.state === "done" || state.done.length > 0;
  const r = v.many ? 4 : 6;
  c.lineWidth = 2;
  c.strokeStyle = ink.chalk;
  c.beginPath();
  c.arc(x, y, r, 0, Math.PI * 2);
  if (gone) {
    c.fillStyle = ink.slot;
    c.fill();
    c.stroke();
    return;
  }
  c.stroke();
  if (v.many) return;
  c.beginPath();
  c.moveTo(x - r, y);
  c.lineTo(x + r, y);
  c.moveTo(x, y - r);
  c.lineTo(x, y + r);
  c.stroke();
}
