// The sheet itself: the metal, what was used of it before, clamps, and what has dropped out.

import { FONT, colours, letters, trace } from "../ink.js";

export function drawSheet(c, v, drawing) {
  const ink = colours();
  const [x0, y1] = v.at([v.sheet[0], v.sheet[1]]);
  const [x1, y0] = v.at([v.sheet[2], v.sheet[3]]);
  c.fillStyle = ink.plate;
  c.fillRect(x0, y0, x1 - x0, y1 - y0);
  for (const area of drawing.used) {
    c.fillStyle = ink.slot;
    trace(c, [...area, area[0]], v.at);
    c.fill();
  }
  c.strokeStyle = ink.ink;
  c.lineWidth = 2;
  c.setLineDash(drawing.sheet ? [] : [8, 6]);
  c.strokeRect(x0, y0, x1 - x0, y1 - y0);
  c.setLineDash([]);
  const boxes = drawing.keepouts.map(([low, size]) => [low, size, ""]);
  if (drawing.clamp) {
    const [cx, cy] = drawing.clamp;
    boxes.push([[cx - 15, cy - 10], [30, 20], "clamp"]);
  }
  for (const [low, size, word] of boxes) crossed(c, v, low, size, word);
}

function crossed(c, v, low, size, word) {
  const ink = colours();
  const [x0, y1] = v.at(low);
  const [x1, y0] = v.at([low[0] + size[0], low[1] + size[1]]);
  c.save();
  c.beginPath();
  c.rect(x0, y0, x1 - x0, y1 - y0);
  c.fillStyle = ink.chalk;
  c.fill();
  c.clip();
  c.strokeStyle = ink.slot;
  c.lineWidth = 1.5;
  c.beginPath();
  for (let d = -(y1 - y0); d < x1 - x0; d += 7) {
    c.moveTo(x0 + d, y1);
    c.lineTo(x0 + d + (y1 - y0), y0);
    c.moveTo(x0 + d, y0);
    c.lineTo(x0 + d + (y1 - y0), y1);
  }
  c.stroke();
  c.restore();
  c.strokeStyle = ink.slot;
  c.lineWidth = 3;
  c.strokeRect(x0, y0, x1 - x0, y1 - y0);
  if (word && !v.small) {
    c.font = `600 ${letters()}px ${FONT}`;
    c.textAlign = "center";
    c.textBaseline = "top";
    c.fillStyle = ink.slot;
    c.strokeStyle = ink.chalk;
    c.lineWidth = 4;
    c.strokeText(word, (x0 + x1) / 2, y1 + 3);
    c.fillText(word, (x0 + x1) / 2, y1 + 3);
  }
}

/** The inside of a part that has come loose: hatched. */
export function dropped(c, v, places) {
  const ink = colours();
  c.save();
  trace(c, places, v.at);
  c.closePath();
  c.clip();
  const xs = places.map((p) => v.at(p)[0]);
  const ys = places.map((p) => v.at(p)[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  c.strokeStyle = ink.slot;
  c.lineWidth = 1.5;
  c.beginPath();
  for (let d = -(y1 - y0); d < x1 - x0; d += 8) {
    c.moveTo(x0 + d, y1);
    c.lineTo(x0 + d + (y1 - y0), y0);
  }
  c.stroke();
  c.restore();
}

/** A picture of a part of the sheet ends at its frame. */
export function clipTo(c, v) {
  if (!v.focus) return;
  const { left: x, top: y, right, bottom } = v.room;
  c.strokeStyle = colours().ink;
  c.lineWidth = 3;
  c.strokeRect(x, y, right - x, bottom - y);
  c.beginPath();
  c.rect(x, y, right - x, bottom - y);
  c.clip();
}
