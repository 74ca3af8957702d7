// The engraved scales at the sheet's far and left side, in the machine's own coordinates.

import { FONT, colours, letters } from "../ink.js";
import { edge } from "./geometry.js";

export function drawScales(c, v, corner) {
  const ink = colours();
  const steps = [10, 50, 100, 200, 500, 1000];
  const tick = steps.find((s) => s * v.scale >= 7) ?? 1000;
  const label = steps.find((s) => s * v.scale >= 90) ?? 1000;
  c.strokeStyle = ink.ink;
  c.fillStyle = ink.ink;
  c.lineWidth = 1;
  c.font = `500 ${letters()}px ${FONT}`;
  const ends = [[v.sheet[0], v.sheet[2]], [v.sheet[1], v.sheet[3]]];
  for (const axis of [0, 1]) {
    const from = Math.ceil((ends[axis][0] + corner[axis]) / tick) * tick;
    for (let m = from; m <= ends[axis][1] + corner[axis] + 1e-6; m += tick) {
      const [x, y] = v.at(axis === 0 ? [m - corner[0], v.sheet[3]] : [v.sheet[0], m - corner[1]]);
      const long = m % 100 === 0 ? 12 : m % 50 === 0 ? 9 : 5;
      c.beginPath();
      if (axis === 0) {
        if (x < v.room.left - 1 || x > v.room.right + 1) continue;
        c.moveTo(x, v.room.top - 3);
        c.lineTo(x, v.room.top - 3 - long);
      } else {
        if (y < v.room.top - 1 || y > v.room.bottom + 1) continue;
        c.moveTo(edge(v) - 3, y);
        c.lineTo(edge(v) - 3 - long, y);
      }
      c.stroke();
      if (m % label !== 0) continue;
      if (axis === 0) {
        c.textAlign = "center";
        c.textBaseline = "bottom";
        c.fillText(String(m), x, v.room.top - 12);
      } else {
        c.textAlign = "right";
        c.textBaseline = "middle";
        c.fillText(String(m), edge(v) - 16, y);
      }
    }
  }
}
