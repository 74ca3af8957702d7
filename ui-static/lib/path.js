// Places along a drawn path: a list of [x, y, mm along].

/** The place `s` mm along, held within the path. */
export function pointAt(points, s) {
  if (points.length === 0) return null;
  if (s <= points[0][2]) return [points[0][0], points[0][1]];
  let low = 0;
  let high = points.length - 1;
  if (s >= points[high][2]) return [points[high][0], points[high][1]];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (points[middle][2] <= s) low = middle;
    else high = middle;
  }
  const [a, b] = [points[low], points[high]];
  const span = b[2] - a[2];
  const part = span > 0 ? (s - a[2]) / span : 0;
  return [a[0] + (b[0] - a[0]) * part, a[1] + (b[1] - a[1]) * part];
}

/** The stretch from `from` to `to` mm along. */
export function slice(points, from, to) {
  if (points.length === 0 || to <= from) return [];
  const inside = points.filter((p) => p[2] > from && p[2] < to).map((p) => [p[0], p[1]]);
  return [pointAt(points, from), ...inside, pointAt(points, to)];
}

/** Stretches of `length` that are not in `done`. */
export function left(done, length) {
  const rest = [];
  let at = 0;
  for (const [from, to] of [...done].sort((a, b) => a[0] - b[0])) {
    if (from > at) rest.push([at, from]);
    at = Math.max(at, to);
  }
  if (at < length) rest.push([at, length]);
  return rest;
}

/**
 * The part of a path that encloses a piece: from where it meets itself to its end. `null` if its
 * end does not come back to within `near` mm.
 */
export function loop(points, near) {
  const last = points.at(-1);
  if (!last || last[2] < 4 * near) return null;
  for (let k = 0; k < points.length - 1; k += 1) {
    const [a, b] = [points[k], points[k + 1]];
    const dx = b[0] - a[0];
    const dy = b[1] - a[1];
    const span = dx * dx + dy * dy;
    const t = span > 0
      ? Math.min(1, Math.max(0, ((last[0] - a[0]) * dx + (last[1] - a[1]) * dy) / span))
      : 0;
    const at = [a[0] + dx * t, a[1] + dy * t];
    const along = a[2] + (b[2] - a[2]) * t;
    if (last[2] - along < 3 * near) return null;
    if (Math.hypot(last[0] - at[0], last[1] - at[1]) <= near) {
      return [at, ...points.slice(k + 1).map((p) => [p[0], p[1]])];
    }
  }
  return null;
}

/** Smallest upright rectangle round drawn cuts: [x0, y0, x1, y1]. */
export function bounds(cuts) {
  let box = null;
  for (const cut of cuts) {
    for (const [x, y] of cut.points) {
      box = box
        ? [Math.min(box[0], x), Math.min(box[1], y), Math.max(box[2], x), Math.max(box[3], y)]
        : [x, y, x, y];
    }
  }
  return box;
}
