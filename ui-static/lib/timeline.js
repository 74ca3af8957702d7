// The line of time of a plan as shapes: pure. Pressure, duty and wear over one axis, each in a lane of its own,
// with the limit that it is held against.

/** A lane keeps so much of its height free above and below. */
const MARGIN = 0.1;

/**
 * The lanes of a plan, from above. `limit`: what it must not pass; `below`: it must not fall under it.
 * @param {{ line: { at_s: number, bar: number, duty: number, wear: number | null }[], air: any, duty: any }} plan
 */
export function lanes(plan) {
  const { line, air } = plan;
  const bars = line.map((m) => m.bar);
  const [duty, wear] = [line.map((m) => m.duty * 100), line.map((m) => (m.wear === null ? null : m.wear * 100))];
  const all = [
    { key: "air", values: bars, limit: air.low_bar, below: true, from: Math.min(air.low_bar - 0.5, ...bars), to: air.full_bar },
    { key: "duty", values: duty, limit: 100, below: false, from: 0, to: Math.max(120, ...duty) },
    { key: "wear", values: wear, limit: 100, below: false, from: 0, to: Math.max(120, ...wear.map((w) => w ?? 0)) },
  ];
  return all.filter((lane) => lane.values.some((v) => v !== null));
}

/** A lane's curve and its limit as paths in a box of `wide` by `high`, and whether it stays on the right side. */
export function shape(lane, line, run_s, [wide, high]) {
  const x = (t) => round((t / Math.max(run_s, 1e-9)) * wide);
  const y = (v) => round(high - (MARGIN + ((v - lane.from) / Math.max(lane.to - lane.from, 1e-9)) * (1 - 2 * MARGIN)) * high);
  const parts = [];
  let drawn = false;
  line.forEach((moment, k) => {
    const v = lane.values[k];
    if (v !== null) parts.push(`${drawn ? "L" : "M"}${x(moment.at_s)} ${y(v)}`);
    drawn = v !== null;
  });
  const passes = (v) => v !== null && (lane.below ? v < lane.limit - 1e-6 : v > lane.limit + 1e-6);
  return { d: parts.join(""), limit: `M0 ${y(lane.limit)}H${wide}`, holds: !lane.values.some(passes) };
}

/** Where each pause lies, as parts of the width: from, and how wide. A change of parts has no length of its own. */
export function bands(pauses, run_s) {
  const least = 0.006;
  return pauses.map((p) => ({ from: Math.min(p.at_s / run_s, 1 - least), wide: Math.max(least, p.wait_s / run_s) }));
}

/** Whole minutes (or pieces of one) at which the scale is ticked, s: at most five. */
export function ticks(run_s) {
  const step = [10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400].find((s) => run_s / s < 5) ?? 28800;
  const all = [];
  for (let t = 0; t <= run_s + 1e-9; t += step) all.push(t);
  return all;
}

function round(v) {
  return Math.round(v * 10) / 10;
}
