// The torch: a solid disc while it burns, a ring while it does not, open at its top while it is up,
// broken where it was only last seen; and the two hairlines that point at the scales.

import { FONT, colours, glass, letters } from "../ink.js";
import { edge, nearSide } from "./geometry.js";

/** A pointer on a scale: its length and half width, px. */
const POINTER_PX = [14, 7];

/** Whether the torch's hairlines cross the sheet. Parked beside it they point nowhere. */
function crossing(v, x, y) {
  const [right, bottom] = v.at([v.sheet[2], v.sheet[1]]);
  const top = v.at([0, v.sheet[3]])[1];
  return { right, top, bottom, across: y >= top - 1 && y <= bottom + 1, along: x >= edge(v) - 1 && x <= right + 1 };
}

function hairlines(c, v, x, y, { right, top, bottom, across, along }, live) {
  const ink = colours();
  for (const [colour, width] of [[ink.slot, 3], [ink.chalk, 1]]) {
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.setLineDash(live ? [] : [12, 8]);
    c.beginPath();
    if (across) {
      c.moveTo(edge(v), y);
      c.lineTo(right, y);
    }
    if (along) {
      c.moveTo(x, top);
      c.lineTo(x, bottom);
    }
    c.stroke();
  }
  c.setLineDash([]);
}

function pointers(c, v, x, y, { across, along }) {
  const [long, half] = POINTER_PX;
  c.fillStyle = colours().ink;
  c.beginPath();
  if (along) {
    const y0 = nearSide(v) + 1;
    c.moveTo(x, y0);
    c.lineTo(x - half, y0 + long);
    c.lineTo(x + half, y0 + long);
    c.closePath();
  }
  if (across) {
    c.moveTo(edge(v) - 1, y);
    c.lineTo(edge(v) - 1 - long, y - half);
    c.lineTo(edge(v) - 1 - long, y + half);
    c.closePath();
  }
  c.fill();
}

function ring(c, x, y, radius, colour, width, [from, to] = [0, Math.PI * 2]) {
  c.beginPath();
  c.arc(x, y, radius, from, to);
  c.strokeStyle = colour;
  c.lineWidth = width;
  c.stroke();
}

function burning(c, x, y, r) {
  const ink = colours();
  c.beginPath();
  c.arc(x, y, r - 6, 0, Math.PI * 2);
  c.fillStyle = ink.arc;
  c.fill();
  ring(c, x, y, r - 4, ink.chalk, 4);
  ring(c, x, y, r - 1, ink.slot, 3);
}

function label(c, word, x, y) {
  const ink = colours();
  c.font = `600 ${letters()}px ${FONT}`;
  c.textAlign = "left";
  c.textBaseline = "middle";
  c.lineWidth = 6;
  c.strokeStyle = ink.chalk;
  c.strokeText(word, x, y);
  c.fillStyle = ink.slot;
  c.fillText(word, x, y);
}

/** @param {{ place: number[] | null, height_mm: number | null, arc: string }} torch */
export function drawTorch(c, v, torch, fresh) {
  if (!torch?.place) return;
  const ink = colours();
  const live = fresh === "live";
  const [x, y] = v.at(torch.place);
  const r = glass() * (v.small && !v.focus ? 2.4 : 5);
  const cross = crossing(v, x, y);
  if (!v.focus && !cross.across && !cross.along) return;
  if (v.scales) {
    hairlines(c, v, x, y, cross, live);
    pointers(c, v, x, y, cross);
  }
  if (torch.arc === "on" && live) {
    burning(c, x, y, r);
    return;
  }
  c.setLineDash(live ? [] : [10, 8]);
  const up = torch.height_mm !== null && torch.height_mm > 5;
  const open = up ? [-Math.PI / 4, Math.PI * 1.25] : undefined;
  ring(c, x, y, r - 4, ink.chalk, 8, open);
  ring(c, x, y, r - 4, ink.slot, 3, open);
  c.setLineDash([]);
  if (v.small && !v.focus) return;
  if (live && up) label(c, `up ${Math.round(torch.height_mm)}`, x + r + 4, y - r);
  if (!live) label(c, "last seen", x + r + 4, y - r);
}
