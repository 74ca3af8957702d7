// A stop and a way on from it, drawn on the plate: the cut in three tones, the doubt as a bracket
// along the path, the way in, and where the arc comes on.

import { pointAt, slice } from "../lib/path.js";
import { bracket, heading, tones, trail, zigzag } from "../lib/stretch.js";
import { FONT, colours, letters, trace } from "./ink.js";

/** The bracket's distance from the edge of the kerf, px. */
const ASIDE_PX = 24;
/** An arrow's length and half width, px. */
const ARROW_PX = [18, 9];

function stroke(c, v, places, colour, width, dash = []) {
  trace(c, places, v.at);
  c.strokeStyle = colour;
  c.lineWidth = width;
  c.setLineDash(dash);
  c.stroke();
  c.setLineDash([]);
}

/** Ink over chalk: it stands on the plate, on the slot and on the ground alike. */
function edged(c, v, places, width, dash = []) {
  const ink = colours();
  stroke(c, v, places, ink.chalk, width + 4);
  stroke(c, v, places, ink.slot, width, dash);
}

/** Surely cut is black, perhaps cut is barred black and pale, to come is pale. */
export function drawTones(c, v, cut, doubt, width) {
  const ink = colours();
  const { sure, perhaps, toCome } = tones(doubt.done, cut.length_mm, doubt.lost);
  c.lineCap = "butt";
  c.lineJoin = "round";
  for (const [from, to] of toCome) stroke(c, v, slice(cut.points, from, to), ink.chalk, 7);
  for (const [from, to] of sure) stroke(c, v, slice(cut.points, from, to), ink.slot, width);
  if (perhaps) {
    const places = slice(cut.points, ...perhaps);
    stroke(c, v, places, ink.chalk, width);
    stroke(c, v, places, ink.slot, width, [4, 4]);
  }
}

/** Where a stop may lie, from the first to the last place that it may be. */
export function drawBracket(c, v, cut, [low, high], width) {
  const aside = (width / 2 + ASIDE_PX) / v.scale;
  for (const line of bracket(cut.points, low, high, aside)) stroke(c, v, line, colours().chalk, 7);
  for (const line of bracket(cut.points, low, high, aside)) stroke(c, v, line, colours().slot, 3);
}

/** Run on without an arc. */
export function drawRunOn(c, v, cut, from, to) {
  edged(c, v, zigzag(cut.points, from, to, 10 / v.scale, 6 / v.scale), 2);
}

function arrow(c, v, place, way) {
  const ink = colours();
  const [x, y] = v.at(place);
  const [dx, dy] = [way[0], -way[1]];
  const [long, half] = ARROW_PX;
  c.beginPath();
  c.moveTo(x + dx * long, y + dy * long);
  c.lineTo(x - dy * half, y + dx * half);
  c.lineTo(x + dy * half, y - dx * half);
  c.closePath();
  c.lineJoin = "miter";
  c.lineWidth = 4;
  c.strokeStyle = ink.slot;
  c.stroke();
  c.fillStyle = ink.chalk;
  c.fill();
}

function fires(c, v, place, right, clear) {
  const ink = colours();
  const [x, y] = v.at(place);
  const r = 13;
  for (const [colour, width] of [[ink.slot, 9], [ink.chalk, 4]]) {
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.beginPath();
    c.arc(x, y, r, 0, Math.PI * 2);
    c.moveTo(x - r * 1.5, y);
    c.lineTo(x + r * 1.5, y);
    c.moveTo(x, y - r * 1.5);
    c.lineTo(x, y + r * 1.5);
    c.stroke();
  }
  const word = "fires here";
  c.font = `600 ${letters()}px ${FONT}`;
  const wide = c.measureText(word).width;
  const left = right ? x + clear : x - clear - wide;
  // Where it has no room the mark says it alone.
  if (left < v.room.left + 8 || left + wide > v.room.right - 8) return;
  c.textAlign = "left";
  c.textBaseline = "middle";
  c.lineWidth = 7;
  c.strokeStyle = ink.chalk;
  c.strokeText(word, left, y);
  c.fillStyle = ink.slot;
  c.fillText(word, left, y);
}

/** The way on: in, along the path, and where the arc comes on. `way` as `wayDrawn` gives it. */
export function drawWay(c, v, cut, way, lost, width) {
  const ink = colours();
  c.lineCap = "butt";
  if (way.entry.length > 1) {
    stroke(c, v, way.entry, ink.slot, 11);
    stroke(c, v, way.entry, ink.chalk, 6, [10, 5]);
    const middle = way.entry.at(-1)[2] * 0.6;
    arrow(c, v, pointAt(way.entry, middle), heading(way.entry, middle) ?? [1, 0]);
  }
  const gap = lost ? [lost.high_mm, way.from_mm] : null;
  if (gap && gap[1] > gap[0]) edged(c, v, slice(cut.points, ...gap), 3, [3, 9]);
  const ahead = way.from_mm + 26 / v.scale;
  const on = heading(cut.points, ahead);
  if (on && ahead < cut.length_mm) arrow(c, v, pointAt(cut.points, ahead), on);
  // The word stands clear of the flag: beyond a pierce in the scrap, else beyond the bracket.
  const entered = way.entry.length > 0;
  const right = entered && v.at(way.fires)[0] > v.at(way.meets)[0];
  fires(c, v, way.fires, right, entered ? 30 : width / 2 + ASIDE_PX + 14);
}

/** Ways into cuts that were burnt beside their paths. */
export function drawEntries(c, v, entries, width) {
  for (const entry of entries) stroke(c, v, trail(entry), colours().slot, width);
}
