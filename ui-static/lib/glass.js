// How large the glass is in millimetres decides how a page is laid out, not its pixels: an eye and a
// gloved finger know no pixels.

/** Lower than this it is laid out as a seven-inch glass, mm. */
const SMALL_MM = 110;
/** Lower than this a column has room for two rows of targets only, mm. */
const LOW_MM = 134;

/** `small`, `low` or `full`. */
export function glassNow() {
  const px = Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm")) || 6;
  const mm = window.innerHeight / px;
  return mm < SMALL_MM ? "small" : mm < LOW_MM ? "low" : "full";
}

export const isSmall = () => document.documentElement.dataset.glass === "small";

/** Lays the page out for the glass that it is on. */
export function fitGlass() {
  document.documentElement.dataset.glass = glassNow();
}
