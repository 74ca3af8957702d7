// The curves of a trace as shapes: pure. A trace has an array for each thing that was measured, with an entry
// for each sample; time counts from its first fault, s.

/** What is drawn, from above, each in a lane of its own. `level`: on or off; `scale`: to the unit shown. */
export const LANES = [
  { key: "moving", name: "Moving", level: true },
  { key: "fire", name: "Fire", level: true },
  { key: "arc-ok", name: "Arc OK", level: true },
  { key: "permit", name: "Permit", level: true },
  { key: "contact", name: "Contact", level: true },
  { key: "hold", name: "Hold", level: true },
  { key: "volts", name: "Arc volts", unit: "V", scale: 1, decimals: 0, least: 10 },
  { key: "height_mm", name: "Height", unit: "mm", scale: 1, decimals: 1, least: 1 },
  { key: "speed_mm_s", name: "Speed", unit: "mm/min", scale: 60, decimals: 0, least: 100 },
];

/** Widths of the window, s: each is closer than the one before. */
export const WINDOWS = [30, 10, 3, 1, 0.3];

/** A lane keeps so much of its height free above and below its curve. */
const MARGIN = 0.12;

/** When each sample was, s since the first fault. */
export function times(trace) {
  const zero = trace.faults_us[0] - trace.from_us;
  return trace.t_us.map((t) => (t - zero) / 1e6);
}

/** What one lane shows: numbers, `null` where nothing was known. A level is 1 or 0. */
export function values(trace, lane) {
  if (!lane.level) return trace[lane.key].map((v) => (v === null ? null : v * lane.scale));
  const bit = trace.levels.indexOf(lane.key);
  if (bit < 0) return trace.on.map(() => null);
  return trace.on.map((on, i) => ((trace.known[i] >> bit) & 1 ? (on >> bit) & 1 : null));
}

/** The last sample at or before `t`; -1: none. Times never fall. */
export function sampleAt(at, t) {
  let [low, high] = [0, at.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (at[middle] <= t) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** The least and the greatest that a lane has room for. */
function reach(shown, lane) {
  const known = shown.filter((v) => v !== null);
  const [low, high] = [Math.min(0, ...known), Math.max(0, ...known)];
  return [low, Math.max(high, low + lane.least)];
}

/**
 * A lane's curve as a path, in a box of `wide` by `high`, and what it shows at the fault. Each value holds until
 * the next sample: nothing is known in between. Where nothing is known nothing is drawn.
 */
export function curve(at, all, lane, [from, to], [wide, high]) {
  if (lane.level) return bars(at, all, [from, to], [wide, high]);
  const first = Math.max(0, sampleAt(at, from));
  const last = sampleAt(at, to);
  const shown = last < first ? [] : all.slice(first, last + 1);
  const [least, most] = reach(shown, lane);
  const x = (t) => round(((Math.min(Math.max(t, from), to) - from) / (to - from)) * wide);
  const y = (v) => round(high - (MARGIN + ((v - least) / (most - least)) * (1 - 2 * MARGIN)) * high);
  const parts = [];
  let drawn = null;
  for (let i = first; i <= last; i += 1) {
    const v = all[i];
    const begins = x(at[i]);
    const ends = x(i + 1 < at.length ? at[i + 1] : at[i]);
    if (v === null) {
      drawn = null;
    } else {
      if (drawn === null) parts.push(`M${begins} ${y(v)}`);
      else if (drawn !== v) parts.push(`H${begins}V${y(v)}`);
      if (i === last || all[i + 1] === null) parts.push(`H${ends}`);
      drawn = v;
    }
  }
  const now = all[sampleAt(at, 0)] ?? null;
  return { d: parts.join(""), now };
}

/** A level as the console draws it: a solid bar where it is on, a line along the foot where it is off. */
function bars(at, all, [from, to], [wide, high]) {
  const first = Math.max(0, sampleAt(at, from));
  const last = sampleAt(at, to);
  const x = (t) => round(((Math.min(Math.max(t, from), to) - from) / (to - from)) * wide);
  const [top, foot] = [round(high * MARGIN * 1.5), round(high * (1 - MARGIN))];
  const parts = [];
  for (let i = first; i <= last; i += 1) {
    const v = all[i];
    let ends = i;
    while (ends < last && all[ends + 1] === v) ends += 1;
    const to = x(ends + 1 < at.length ? at[ends + 1] : at[ends]);
    if (v === 1) parts.push(`M${x(at[i])} ${foot}V${top}H${to}V${foot}Z`);
    else if (v === 0) parts.push(`M${x(at[i])} ${foot}H${to}`);
    i = ends;
  }
  return { d: parts.join(""), now: all[sampleAt(at, 0)] ?? null };
}

/** Where the scale is ticked, s: five to ten ticks. */
export function ticks([from, to]) {
  const step = [10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02].find((s) => (to - from) / s >= 5) ?? 0.02;
  const all = [];
  for (let k = Math.ceil(from / step - 1e-9); k * step <= to + 1e-9; k += 1) all.push(k * step);
  return all;
}

function round(v) {
  return Math.round(v * 10) / 10;
}

/** Where the torch was at the fault; `null`: it was not known. */
export function placeAt(trace) {
  const k = sampleAt(times(trace), 0);
  const [x, y] = [trace.x[k] ?? null, trace.y[k] ?? null];
  return x === null || y === null ? null : [x, y];
}

/**
 * What a stop shows of its last seconds: arc, volts, height, each as a curve in a box of `wide` by `high` with the
 * line of what it should have been (`null`: it is not known), and the value where the arc was last seen.
 */
export function lastSeconds(trace, targets, [from, to], box) {
  const at = times(trace);
  const arc = values(trace, LANES.find((lane) => lane.key === "arc-ok"));
  const seen = arc.findLastIndex((on, k) => on === 1 && at[k] <= 0);
  return ["arc-ok", "volts", "height_mm"].map((key) => {
    const lane = LANES.find((one) => one.key === key);
    const all = values(trace, lane);
    const target = targets[key] ?? null;
    return { lane, d: curve(at, all, lane, [from, to], box).d, target, line: target === null ? null : levelOf(at, all, lane, [from, to], target, box[1]), last: seen < 0 ? null : all[seen] };
  });
}

/** Where a value lies in its lane, in a box so high; `null`: beyond what the lane shows. */
function levelOf(at, all, lane, [from, to], value, high) {
  const [first, last] = [Math.max(0, sampleAt(at, from)), sampleAt(at, to)];
  const [least, most] = reach(last < first ? [] : all.slice(first, last + 1), lane);
  return value < least || value > most ? null : round(high - (MARGIN + ((value - least) / (most - least)) * (1 - 2 * MARGIN)) * high);
}
