// The scales, as engraved on a rule: along the sheet's near edge, where the reader stands, and at its
// left, in the machine's own coordinates. Long strokes at 100 mm, middle ones at 50, short at 10.

import { FONT, colours, glass, letters } from "../ink.js";
import { edge, nearSide } from "./geometry.js";

const STEPS_MM = [10, 50, 100, 200, 500, 1000];
/** Strokes stand no nearer than this, px; numbers no nearer than so many times their height. */
const STROKE_PX = 7;
const NUMBER_APART = 3.6;
/** The strokes' lengths on the glass, mm: every 100, every 50, the others. */
const LONG_MM = [1.2, 0.9, 0.6];
/** The reader's chevron stands in the middle of the near scale, with its word: no number there, mm. */
export const YOU_MM = [5, 13];

const long = (m) => (m % 100 === 0 ? LONG_MM[0] : m % 50 === 0 ? LONG_MM[1] : LONG_MM[2]) * glass();

/** The strokes of one axis: where, in px, and the number there in mm. */
function strokes(v, axis, corner, step) {
  const [low, high] = [v.sheet[axis], v.sheet[axis + 2]].map((end) => end + corner[axis]);
  const found = [];
  for (let m = Math.ceil(low / step) * step; m <= high + 1e-6; m += step) {
    const at = v.at(axis === 0 ? [m - corner[0], v.sheet[1]] : [v.sheet[0], m - corner[1]])[axis];
    found.push([at, m]);
  }
  return found;
}

function drawNumber(c, says, x, y, align, baseline) {
  c.textAlign = align;
  c.textBaseline = baseline;
  c.fillText(says, x, y);
}

export function drawScales(c, v, corner) {
  const ink = colours();
  const tick = STEPS_MM.find((s) => s * v.scale >= STROKE_PX) ?? 1000;
  const number = STEPS_MM.find((s) => s * v.scale >= NUMBER_APART * letters()) ?? 1000;
  const [x0, y0] = [edge(v) - 2, nearSide(v) + 2];
  c.strokeStyle = ink.ink;
  c.fillStyle = ink.ink;
  c.lineWidth = 1;
  c.font = `500 ${letters()}px ${FONT}`;
  c.beginPath();
  for (const [x, m] of strokes(v, 0, corner, tick)) {
    c.moveTo(x, y0);
    c.lineTo(x, y0 + long(m));
  }
  for (const [y, m] of strokes(v, 1, corner, tick)) {
    c.moveTo(x0, y);
    c.lineTo(x0 - long(m), y);
  }
  c.stroke();
  const middle = (v.room.left + v.room.right) / 2;
  const [before, after] = YOU_MM.map((mm) => mm * glass());
  const far = LONG_MM[0] * glass() + 2;
  const bottom = y0 + far + letters() * 0.68;
  for (const [x, m] of strokes(v, 0, corner, number)) {
    const half = c.measureText(String(m)).width / 2;
    const you = v.you && x + half > middle - before - 6 && x - half < middle + after + 6;
    if (!you && x + half < v.room.right + 2 && x - half > 0) drawNumber(c, String(m), x, bottom, "center", "alphabetic");
  }
  for (const [y, m] of strokes(v, 1, corner, number)) {
    if (y > v.room.top + letters() * 0.3) drawNumber(c, String(m), x0 - far, y + letters() * 0.33, "right", "alphabetic");
  }
}
