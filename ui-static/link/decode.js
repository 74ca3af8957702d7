// From untrusted text to a known message, or to the reason why not.

export const VERSION = 1;

const VIEW_FIELDS = [
  "generation", "phase", "waiting_for", "torch", "cuts", "marks", "alarms", "checks", "allowed",
  "holds", "link", "signals",
];

const isObject = (x) => typeof x === "object" && x !== null && !Array.isArray(x);
const isCount = (x) => Number.isInteger(x) && x >= 0;
const wrong = (why) => ({ ok: false, why });

/**
 * @param {unknown} text
 * @returns {{ ok: true, message: any } | { ok: false, why: string }}
 */
export function decode(text) {
  if (typeof text !== "string") return wrong("the message is not text");
  let told;
  try {
    told = JSON.parse(text);
  } catch {
    return wrong("the message is not JSON");
  }
  if (!isObject(told)) return wrong("the message is no object");
  if (told.v !== VERSION) return wrong(`the panel speaks version ${told.v}, this screen ${VERSION}`);
  switch (told.kind) {
    case "snapshot": return snapshot(told);
    case "delta": return delta(told);
    case "dropped": return isCount(told.missed) ? { ok: true, message: told } : wrong("dropped: missed");
    default: return wrong(`a message of the kind ${JSON.stringify(told.kind)}`);
  }
}

function snapshot(told) {
  if (!isCount(told.n)) return wrong("snapshot: n");
  if (!Number.isFinite(told.at_s)) return wrong("snapshot: at_s");
  if (!isObject(told.table) || typeof told.table.name !== "string") return wrong("snapshot: table");
  if (!isObject(told.view)) return wrong("snapshot: view");
  for (const field of VIEW_FIELDS) {
    if (told.view[field] === undefined || told.view[field] === null) return wrong(`snapshot: view.${field}`);
  }
  return { ok: true, message: told };
}

function delta(told) {
  if (!isCount(told.n)) return wrong("delta: n");
  if (!Number.isFinite(told.at_s)) return wrong("delta: at_s");
  if (!isObject(told.set)) return wrong("delta: set");
  for (const field of VIEW_FIELDS) {
    if (told.set[field] === null) return wrong(`delta: set.${field}`);
  }
  if (told.cuts !== undefined && !isObject(told.cuts)) return wrong("delta: cuts");
  return { ok: true, message: told };
}

/**
 * Whether a message may follow what was heard before: deltas count up by one.
 * @param {number | null} before  number of the message before; `null`: none
 */
export function follows(before, message) {
  if (message.kind === "delta") return before !== null && message.n === before + 1;
  return true;
}

/** The view after a delta; the old one stays as it is. */
export function applied(view, delta) {
  const next = { ...view, ...delta.set };
  if (delta.cuts) {
    next.cuts = next.cuts.slice();
    for (const [k, cut] of Object.entries(delta.cuts)) next.cuts[Number(k)] = cut;
  }
  return next;
}
