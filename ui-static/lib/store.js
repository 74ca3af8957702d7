// One state, changed by events, drawn at most once per animation frame from the latest.

/**
 * @template S, A
 * @param {S} initial
 * @param {(state: S, action: A) => S} reduce
 * @param {(draw: () => void) => void} schedule  calls once, later: an animation frame
 */
export function createStore(initial, reduce, schedule) {
  let state = initial;
  let asked = false;
  let drawing = false;
  /** @type {Set<(state: S) => void>} */
  const drawers = new Set();

  function draw() {
    asked = false;
    drawing = true;
    for (const drawer of [...drawers]) {
      // One part of the page that cannot be drawn must not keep HOLD from being drawn.
      try {
        if (drawers.has(drawer)) drawer(state);
      } catch (trouble) {
        reportError(trouble);
      }
    }
    drawing = false;
  }

  return {
    get: () => state,
    dispatch(action) {
      if (drawing) throw new Error("the state changes on an event, never while drawing");
      const next = reduce(state, action);
      if (next === state) return;
      state = next;
      if (!asked) {
        asked = true;
        schedule(draw);
      }
    },
    /** Draws now, and after every change until the signal is given. */
    subscribe(drawer, signal) {
      drawers.add(drawer);
      signal?.addEventListener("abort", () => drawers.delete(drawer));
      drawer(state);
    },
  };
}
