// Stretches of a path and the marks that lie along them: pure geometry on the sheet, mm.

import { left, pointAt } from "./path.js";

/** A chord leaves its arc by no more than this, mm: a hair on the glass even in a close-up. */
const CHORD_MM = 0.02;
/** Ends of an arc that are nearer than this are one: a full circle, mm. */
const SAME_MM = 1e-6;

/** @typedef {import("../types.d.ts").Segment} Segment */
/** @typedef {[number, number, number]} Station  x, y, mm along */

/** How far an arc turns, radians, 0 to 2 pi. */
function turn({ from, to, centre, clockwise }) {
  if (Math.hypot(to[0] - from[0], to[1] - from[1]) < SAME_MM) return 2 * Math.PI;
  const a = Math.atan2(from[1] - centre[1], from[0] - centre[0]);
  const b = Math.atan2(to[1] - centre[1], to[0] - centre[0]);
  const round = (x) => (x < 0 ? x + 2 * Math.PI : x);
  return clockwise ? round(a - b) : round(b - a);
}

/**
 * Lines and arcs as places with their distance along: an arc's length is its own, not its chords'.
 * @param {Segment[]} segments
 * @returns {Station[]}
 */
export function trail(segments) {
  const places = [];
  let along = 0;
  const put = (x, y) => places.push([x, y, along]);
  for (const segment of segments) {
    const { from, to } = segment.line ?? segment.arc;
    if (places.length === 0) put(from[0], from[1]);
    if (segment.line) {
      along += Math.hypot(to[0] - from[0], to[1] - from[1]);
    } else {
      const { centre, clockwise } = segment.arc;
      const radius = Math.hypot(from[0] - centre[0], from[1] - centre[1]);
      const angle = turn(segment.arc);
      const began = along;
      const first = Math.atan2(from[1] - centre[1], from[0] - centre[0]);
      const each = 2 * Math.acos(Math.max(0, 1 - CHORD_MM / Math.max(radius, CHORD_MM)));
      const chords = Math.max(1, Math.ceil(angle / each));
      for (let k = 1; k < chords; k += 1) {
        const part = (angle * k) / chords;
        const at = first + (clockwise ? -part : part);
        along = began + radius * part;
        put(centre[0] + radius * Math.cos(at), centre[1] + radius * Math.sin(at));
      }
      along = began + radius * angle;
    }
    put(to[0], to[1]);
  }
  return places;
}

/**
 * A cut in three tones: surely cut, perhaps cut, to come; stretches in mm along.
 * @param {[number, number][]} done
 * @param {number} length
 * @param {{ low_mm: number, high_mm: number } | null} lost  `null`: nothing is in doubt
 */
export function tones(done, length, lost) {
  if (!lost) return { sure: done.map((d) => [...d]), perhaps: null, toCome: left(done, length) };
  const low = Math.min(length, Math.max(0, lost.low_mm));
  const high = Math.min(length, Math.max(low, lost.high_mm));
  const sure = [];
  for (const [from, to] of done) {
    if (from < low) sure.push([from, Math.min(to, low)]);
    if (to > high) sure.push([Math.max(from, high), to]);
  }
  return { sure, perhaps: high > low ? [low, high] : null, toCome: left([...sure, [low, high]], length) };
}

/** Which way a path goes at a place, as a unit vector; `null` on a path without length. */
export function heading(points, s) {
  const length = points.at(-1)?.[2] ?? 0;
  // Not across a corner: what lies ahead of the place counts, at the end what lies behind it.
  const reach = Math.min(0.5, length / 4);
  const at = Math.min(Math.max(0, s), length - reach);
  const [a, b] = [pointAt(points, at), pointAt(points, at + reach)];
  if (!a || !b) return null;
  const span = Math.hypot(b[0] - a[0], b[1] - a[1]);
  return span > 0 ? [(b[0] - a[0]) / span, (b[1] - a[1]) / span] : null;
}

/**
 * A stretch moved aside. `aside` mm to the left of the way it goes, negative to the right.
 * @param {Station[]} points
 */
export function beside(points, from, to, aside) {
  const stations = [from, ...points.map((p) => p[2]).filter((s) => s > from && s < to), to];
  return stations.flatMap((s) => {
    const at = pointAt(points, s);
    const way = heading(points, s);
    return at && way ? [[at[0] - way[1] * aside, at[1] + way[0] * aside]] : [];
  });
}

/**
 * A bracket along a path: the stretch beside it, and its two ends reaching back to the path.
 * @returns {number[][][]}  three lines of places
 */
export function bracket(points, low, high, aside) {
  const along = beside(points, low, high, aside);
  if (along.length < 2) return [];
  return [along, [pointAt(points, low), along[0]], [pointAt(points, high), along.at(-1)]];
}

/** A zigzag over a stretch: run along without cutting. */
export function zigzag(points, from, to, pitch, half) {
  const count = Math.max(2, Math.round((to - from) / pitch));
  const places = [];
  for (let k = 0; k <= count; k += 1) {
    const s = from + ((to - from) * k) / count;
    const aside = k === 0 || k === count ? 0 : k % 2 === 1 ? half : -half;
    places.push(...beside(points, s, s, aside).slice(0, 1));
  }
  return places;
}

/**
 * What a close-up shows: all of these places with room about them.
 * @param {number[][]} places
 * @param {number} least  half of what it shows at least, each way, mm
 * @param {number} margin  mm
 * @returns {{ at: number[], half_mm: [number, number] } | null}
 */
export function closeUp(places, least, margin) {
  const shown = places.filter(Boolean);
  if (shown.length === 0) return null;
  const [xs, ys] = [shown.map((p) => p[0]), shown.map((p) => p[1])];
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const half_mm = [(x1 - x0) / 2 + margin, (y1 - y0) / 2 + margin].map((half) => Math.max(least, half));
  return { at: [(x0 + x1) / 2, (y0 + y1) / 2], half_mm };
}

/** A way on as it is drawn: where the arc comes on, the way in, and where it meets the path. */
export function wayDrawn(plan, cut) {
  if (!plan || !cut || plan.way === "leave") return null;
  const entry = trail(plan.entry);
  const meets = pointAt(cut.points, plan.from_mm);
  return { fires: entry.length > 0 ? plan.pierce : meets, entry, meets, from_mm: plan.from_mm };
}

