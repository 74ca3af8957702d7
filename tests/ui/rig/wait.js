// The only place where a test waits: for a level, with a bound, telling what was seen last.

const LOOK_EVERY_MS = 25;

/**
 * Waits until `look` gives something true, and gives it.
 * @template T
 * @param {string} what  what is waited for
 * @param {() => Promise<T> | T} look
 * @param {{ limitMs?: number, status?: () => Promise<unknown> | unknown }} [how]
 * @returns {Promise<T>}
 */
export async function until(what, look, { limitMs = 30_000, status } = {}) {
  const end = Date.now() + limitMs;
  for (;;) {
    const seen = await look();
    if (seen) return seen;
    if (Date.now() > end) {
      const last = status ? await status() : seen;
      throw new Error(`waited ${limitMs} ms for: ${what}\nlast seen: ${typeof last === "string" ? last : JSON.stringify(last)}`);
    }
    await new Promise((done) => setTimeout(done, LOOK_EVERY_MS));
  }
}

/** Keeps something up for so long: a finger on the glass is measured in time. */
export function forMs(ms) {
  return new Promise((done) => setTimeout(done, ms));
}
