// What is said on the plate: flags with their numbers, where the arc comes on, the doubt of a stop,
// and where the reader stands.

import { FONT, colours, flag, glass, letters } from "../ink.js";
import { drawBracket, drawRunOn, drawTones, drawWay } from "../way-on.js";
import { inside, nearSide, slotWidth } from "./geometry.js";
import { drawPierce } from "./paths.js";

/** A picture narrower than this has room for a mark's ring alone: its number stands in the large one, px. */
const ROOM_PX = 140;

/** The cut that a stop left open, in three tones. */
export function drawStopped(c, v, stopped, done, lost) {
  drawTones(c, v, stopped, { done, lost }, slotWidth(v));
  drawPierce(c, v, stopped, { state: "now", done });
}

/** Along the paths: the doubt of each mark, what was run without an arc, and the way on. */
export function drawAlong(c, v, model, stopped) {
  const width = slotWidth(v);
  if (model.focus) {
    for (const m of model.marks) {
      const cut = model.drawing.cuts[m.cut - 1];
      if (cut && m.between_mm) drawBracket(c, v, cut, m.between_mm, width);
    }
    if (stopped && model.stop.ran_on) drawRunOn(c, v, stopped, ...model.stop.ran_on);
  }
  if (stopped && model.way && model.focus) drawWay(c, v, stopped, model.way, model.stop.lost, width);
  else if (model.way) drawStart(c, v, model.way.fires, false);
  if (model.start) drawStart(c, v, model.start, Boolean(model.focus));
}

/** The numbered flags: over everything, and beyond a picture's frame where they have no room in it. */
export function drawFlags(c, v, model) {
  for (const m of model.marks) {
    const [x, y] = v.at(m.place);
    if (!inside(v, x, y)) continue;
    c.beginPath();
    c.arc(x, y, 9, 0, Math.PI * 2);
    c.lineWidth = 3;
    c.strokeStyle = colours().chalk;
    c.stroke();
    const away = model.way?.entry.length > 0 && model.focus ? v.at(model.way.fires) : null;
    if (v.room.right - v.room.left > ROOM_PX) flag(c, x, y, m.number, m.cause === "hold" ? "note" : "amber", true, v.room, away);
  }
  for (const f of model.flags) flag(c, ...v.at(f.at), f.number, f.look, f.solid, v.room);
}

/** Where the arc comes on. */
function drawStart(c, v, start, large) {
  const ink = colours();
  const [x, y] = v.at(start);
  const r = large ? 16 : 8;
  c.lineWidth = large ? 8 : 6;
  c.strokeStyle = ink.chalk;
  c.beginPath();
  c.arc(x, y, r, 0, Math.PI * 2);
  c.moveTo(x - r * 1.6, y);
  c.lineTo(x + r * 1.6, y);
  c.moveTo(x, y - r * 1.6);
  c.lineTo(x, y + r * 1.6);
  c.stroke();
  c.lineWidth = large ? 4 : 3;
  c.strokeStyle = ink.slot;
  c.stroke();
}

/** Where the reader stands: a chevron beyond the near edge. */
export function drawYou(c, v) {
  const ink = colours();
  const px = glass();
  const [wide, high, thick] = [3 * px, 2.9 * px, 1.3 * px];
  const x = (v.room.left + v.room.right) / 2;
  const top = (v.scales ? nearSide(v) : v.room.bottom) + (v.scales ? 1.6 : 1) * px;
  c.fillStyle = ink.ink;
  c.beginPath();
  c.moveTo(x, top);
  c.lineTo(x + wide, top + high);
  c.lineTo(x + wide - thick * 1.3, top + high);
  c.lineTo(x, top + thick * 1.3);
  c.lineTo(x - wide + thick * 1.3, top + high);
  c.lineTo(x - wide, top + high);
  c.closePath();
  c.fill();
  c.font = `500 ${letters()}px ${FONT}`;
  c.textAlign = "left";
  c.textBaseline = "alphabetic";
  c.fillText("you", x + wide + px, top + high);
}
