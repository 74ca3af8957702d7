// What a gloved finger does. Targets act on lift inside; sliding off, a second finger or a page
// that has just changed cancels. What acts on first contact is HOLD alone.

/** After a page change targets take no touch for so long, ms. */
const DEAF_MS = 400;
/** A finger that travels further than this is not a press, mm. */
const STILL_MM = 5;
/** Starting anything wants the target kept pressed for so long, ms. */
export const KEEP_MS = 1000;

const fingers = new Set();
let deafUntil = 0;
/** @type {Set<() => void>} */
const pressed = new Set();

function cancelAll() {
  for (const cancel of [...pressed]) cancel();
}

/** Begins to count fingers; once. */
export function watchFingers(root = document) {
  const down = (e) => {
    fingers.add(e.pointerId);
    if (fingers.size > 1) cancelAll();
  };
  const up = (e) => fingers.delete(e.pointerId);
  root.addEventListener("pointerdown", down, { capture: true });
  root.addEventListener("pointerup", up, { capture: true });
  root.addEventListener("pointercancel", up, { capture: true });
  root.addEventListener("contextmenu", (e) => e.preventDefault());
  window.addEventListener("blur", () => {
    fingers.clear();
    cancelAll();
  });
  document.addEventListener("visibilitychange", () => {
    fingers.clear();
    cancelAll();
  });
}

/** A page has changed: nothing under the finger may act at once. */
export function pageChanged() {
  cancelAll();
  deafUntil = performance.now() + DEAF_MS;
}

function pxPerMm() {
  const root = getComputedStyle(document.documentElement);
  return Number.parseFloat(root.getPropertyValue("--px-per-mm")) || 6;
}

function inside(node, e) {
  const box = node.getBoundingClientRect();
  return e.clientX >= box.left && e.clientX <= box.right && e.clientY >= box.top && e.clientY <= box.bottom;
}

/**
 * A press from contact to lift.
 * @param {HTMLElement} node
 * @param {AbortSignal} signal
 * @param {{ began?: () => void, lifted?: (heldMs: number) => void, lost?: () => void, strict?: boolean }} on
 *   `strict`: still, single and the only touch
 */
function press(node, signal, on) {
  let one = null;
  const end = () => {
    one = null;
    pressed.delete(lose);
    delete node.dataset.pressed;
  };
  const lose = () => {
    if (!one) return;
    end();
    on.lost?.();
  };
  node.addEventListener("pointerdown", (e) => {
    if (performance.now() < deafUntil || fingers.size > 1 || one) return;
    one = { id: e.pointerId, x: e.clientX, y: e.clientY, at: performance.now() };
    pressed.add(lose);
    node.dataset.pressed = "";
    on.began?.();
  }, { signal });
  node.addEventListener("pointermove", (e) => {
    if (!one || e.pointerId !== one.id) return;
    const moved = Math.hypot(e.clientX - one.x, e.clientY - one.y);
    if (!inside(node, e) || (on.strict && moved > STILL_MM * pxPerMm())) lose();
  }, { signal });
  node.addEventListener("pointerup", (e) => {
    if (!one || e.pointerId !== one.id) return;
    const { at } = one;
    const good = inside(node, e);
    end();
    if (good) on.lifted?.(performance.now() - at);
    else on.lost?.();
  }, { signal });
  node.addEventListener("pointercancel", lose, { signal });
  signal.addEventListener("abort", lose);
}

/** Acts when lifted inside. */
export function onTap(node, signal, act) {
  press(node, signal, { lifted: act });
}

/**
 * Acts as long as it is touched: still, single and the only touch. `began` gives what is asked again and
 * again; `null`: nothing, it acts on lift. What is not taken ends it.
 * @template T
 * @param {{ everyMs: number, may: () => boolean, began: () => T | null, again: (what: T) => Promise<boolean>, ended: () => void, lifted: () => void }} on
 */
export function onWhilePressed(node, signal, on) {
  let timer = 0;
  const end = () => {
    if (!timer) return false;
    clearInterval(timer);
    timer = 0;
    on.ended();
    return true;
  };
  press(node, signal, {
    strict: true,
    began() {
      const what = on.may() ? on.began() : null;
      if (what === null) return;
      const ask = async () => {
        if (!on.may() || !(await on.again(what))) end();
      };
      timer = setInterval(ask, on.everyMs);
      ask();
    },
    lifted() {
      if (!end() && on.may()) on.lifted();
    },
    lost: end,
  });
}

/** Acts on first contact, whatever else touches, on any page and at any time. */
export function onContact(node, signal, act) {
  node.addEventListener("pointerdown", act, { signal });
}

/**
 * Acts after it was kept pressed for [`KEEP_MS`]; `fill` is told how far that is, 0 to 1.
 * @param {{ fill: (part: number) => void, done: () => void, early: () => void, may: () => boolean }} on
 */
export function onKeepPressed(node, signal, on) {
  let began = 0;
  let frame = 0;
  const stop = () => {
    cancelAnimationFrame(frame);
    began = 0;
    on.fill(0);
  };
  const step = () => {
    if (!began) return;
    if (!on.may()) {
      stop();
      return;
    }
    const part = (performance.now() - began) / KEEP_MS;
    on.fill(Math.min(1, part));
    if (part >= 1) {
      stop();
      on.done();
      return;
    }
    frame = requestAnimationFrame(step);
  };
  press(node, signal, {
    strict: true,
    began() {
      if (!on.may()) return;
      began = performance.now();
      frame = requestAnimationFrame(step);
    },
    lifted() {
      if (!began) return;
      stop();
      on.early();
    },
    lost() {
      if (began) stop();
    },
  });
}
