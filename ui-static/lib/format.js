// Numbers as a person at the glass reads them: the unit always, the minus as wide as a digit.

export const NOTHING = "- - -";
const MINUS = "\u2212";

/** A number with so many decimals. */
export function number(value, decimals = 0) {
  if (value === null || value === undefined || !Number.isFinite(value)) return NOTHING;
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

/** Millimetres: tenths below 10. */
export function mm(value) {
  if (value === null || value === undefined || !Number.isFinite(value)) return NOTHING;
  const decimals = Math.abs(value) < 10 && value !== Math.round(value) ? 1 : 0;
  return `${number(value, decimals)} mm`;
}

/** A length of cut: mm, or m from one metre on. */
export function length(value) {
  return Number.isFinite(value) && value >= 1000 ? `${number(value / 1000, 1)} m` : mm(value);
}

/** A time to go or gone, s: `6:40`, `1:02:03`. Rounded up, so that 0:00 means over. */
export function duration(seconds) {
  if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return NOTHING;
  const whole = Math.max(0, Math.ceil(seconds - 1e-9));
  const two = (n) => String(n).padStart(2, "0");
  const [h, m, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  return h > 0 ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}

/** A short time: `1.4 s`. */
export function seconds(value) {
  return `${number(value, 1)} s`;
}

/** Time of day. */
export function clock(date) {
  const two = (n) => String(n).padStart(2, "0");
  return `${two(date.getHours())}:${two(date.getMinutes())}:${two(date.getSeconds())}`;
}

/** Digits in groups of three, to be read and typed: `428 613`. */
export function spaced(digits) {
  return digits.replace(/(\d{3})(?=\d)/g, "$1\u00a0");
}

/** A sheet: `600 x 400 mm`. */
export function size(point) {
  return point ? `${number(point[0])}\u00a0\u00d7\u00a0${number(point[1])}\u00a0mm` : NOTHING;
}

/** `1 cut`, `14 cuts`. */
export function count(n, one, many = `${one}s`) {
  return `${n} ${n === 1 ? one : many}`;
}

/** `cut 4`, `cuts 3 to 17 and 22`; nothing without a cut. Of many runs the first ones. */
export function cuts(numbers, most = 6) {
  const runs = [];
  for (const n of numbers ?? []) {
    const last = runs.at(-1);
    if (last && n === last[1] + 1) last[1] = n;
    else if (!last || n > last[1]) runs.push([n, n]);
  }
  if (runs.length === 0) return "";
  const named = runs.slice(0, most).flatMap(([a, b]) => (b - a === 0 ? [`${a}`] : b - a === 1 ? [`${a}`, `${b}`] : [`${a} to ${b}`]));
  const left = runs.slice(most).reduce((sum, [a, b]) => sum + b - a + 1, 0);
  if (left > 0) named.push(`${left} more`);
  if (runs.length === 1 && runs[0][0] === runs[0][1]) return `cut ${named[0]}`;
  const end = named.pop();
  return named.length ? `cuts ${named.join(", ")} and ${end}` : `cuts ${end}`;
}

/** How long after the first cause, s. */
export function after(seconds) {
  return `+${number(seconds, seconds < 10 ? 3 : 1)} s`;
}

/** A name from a file or a setup: `mild-steel` reads `mild steel`. */
export function words(name) {
  return name.replaceAll("-", " ");
}
