// Where a place of the sheet lies on the canvas, and how wide a slot is drawn there.

import { bounds } from "../../lib/path.js";
import { glass } from "../ink.js";

/** About a sheet with scales: they stand at its left and along its near edge, mm on the glass. */
const MARGIN_MM = { left: 12, top: 0.3, right: 0.6, bottom: 4.7 };
/** About a bare picture, mm on the glass: below it is where the reader stands. */
const BARE_MM = { left: 0.6, top: 0.6, right: 0.6, bottom: 5 };
/** Of more cuts than this the marks are drawn small. */
const MANY = 60;

function margins(how) {
  const mm = how.scales ? MARGIN_MM : { ...BARE_MM, bottom: how.you ? BARE_MM.bottom : BARE_MM.top };
  return Object.fromEntries(Object.entries(mm).map(([side, wide]) => [side, wide * glass()]));
}

/**
 * The view of a plate: its sheet, its scale (px per mm), its room on the canvas and the way from a
 * place to a pixel.
 * @param {{ scales: boolean, you: boolean, plain: boolean }} how
 */
export function viewOf(how, model, w, h) {
  const { drawing, focus } = model;
  const box = bounds(drawing.cuts) ?? [0, 0, 100, 100];
  const sheet = drawing.sheet ? [0, 0, drawing.sheet[0], drawing.sheet[1]] : box;
  const pad = margins(how);
  const room = { left: pad.left, top: pad.top, right: w - pad.right, bottom: h - pad.bottom };
  const fit = Math.min((room.right - room.left) / (sheet[2] - sheet[0]), (room.bottom - room.top) / (sheet[3] - sheet[1]));
  const scale = focus?.half_mm
    ? Math.min((room.right - room.left) / focus.half_mm[0], (room.bottom - room.top) / focus.half_mm[1]) / 2
    : focus ? Math.max(fit * focus.zoom, 1.2) : fit;
  const middle = focus ? focus.at : [(sheet[0] + sheet[2]) / 2, (sheet[1] + sheet[3]) / 2];
  const centre = [(room.left + room.right) / 2, (room.top + room.bottom) / 2];
  const small = !how.scales;
  return {
    ...how,
    small,
    focus: focus ?? null,
    many: drawing.cuts.length > MANY || (small && !focus),
    kerf: drawing.kerf_mm,
    sheet,
    scale,
    room,
    at: ([x, y]) => [centre[0] + (x - middle[0]) * scale, centre[1] - (y - middle[1]) * scale],
  };
}

/** The sheet's left side, where the upright scale stands. */
export function edge(v) {
  return Math.max(v.room.left, Math.min(v.at([v.sheet[0], 0])[0], v.room.right));
}

/** The sheet's near side, where the level scale lies. */
export function nearSide(v) {
  return Math.max(v.room.top, Math.min(v.at([0, v.sheet[1]])[1], v.room.bottom));
}

/** How wide a slot is drawn: the true kerf, and never so thin that it is not seen, px. */
export function slotWidth(v) {
  return Math.max(5, (v.kerf ?? 0) * v.scale);
}

/** Whether a mark lies in the picture. */
export function inside(v, x, y) {
  return !v.focus || (x > v.room.left && x < v.room.right && y > v.room.top && y < v.room.bottom);
}
