/** What must hold, or the page says so instead of showing something wrong. */
export function assert(holds, says) {
  if (!holds) throw new Error(`does not hold: ${says}`);
}
