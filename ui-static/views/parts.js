// Torch parts are changed, one step at a time. The arc cannot fire here; the panel says which step is
// due and what would be taken.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { clock, mm, number } from "../lib/format.js";
import { onTap } from "../lib/touch.js";
import { PART, can, change, lacks, wallOf, whyNot } from "../state/select.js";
import { button, keepPressed, relabel } from "../widgets/button.js";
import { pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

const SAYS = {
  park: "The torch goes where its parts are changed.",
  isolate: "Switch the torch's power source off at its isolator.",
  swap: "Change the parts. Then touch each one that was changed.",
  contact: "Hold bare metal to the nozzle, then take it away.",
  source: "Everybody clear of the torch. Then switch the source on.",
  touch: "The torch comes down and touches the sheet with its new parts.",
  done: "The change is done.",
};

/** The button of a step: what it asks for and its words. */
const NEXT = {
  isolate: ["change-isolated", "It is off at the isolator"],
  contact: ["change-contact-by-touch", "Let the sheet test it"],
  source: ["change-source-on", "On again, all are clear"],
  done: ["change-end", "Parts are done: back"],
};

/** Steps in which the torch must be dead. */
const DEAD = ["park", "isolate", "swap", "contact"];

/** What is known of the source's power, in words; `warns`: it is not as the step wants it. */
function power(c, state) {
  const at = wallOf(state, c.power_at_s, Date.now());
  const seen = at ? `, seen at ${clock(at)}` : ", seen now";
  const dead = DEAD.includes(c.step);
  if (c.power === "off") return { says: `Torch power: OFF${seen}`, warns: false };
  if (c.power === "on") return { says: `Torch power: ON${seen}`, warns: dead };
  return { says: `Torch power: cannot tell${dead ? " - switch off at the isolator" : ""}`, warns: dead };
}

/** What of the steps with a dead torch this controller cannot do, in words. */
function without(c, state) {
  return DEAD.includes(c.step) ? lacks(state, "parts").map((lack) => lack.therefore).join(" ") : "";
}

/** How the new parts touch the sheet against the old ones. */
function touches(off_mm) {
  if (off_mm === null) return "";
  if (Math.abs(off_mm) < 0.05) return " The new parts touch where the old ones did.";
  return ` The new parts touch ${mm(Math.abs(off_mm))} ${off_mm < 0 ? "lower" : "higher"}.`;
}

function stepSays(c) {
  if (c.step === "contact" && c.contact_seen) return "Contact seen. Now take the metal away.";
  if (c.step === "done") {
    return `${c.tested ? "The contact test has passed." : "The contact test has not passed: nothing starts before."}${touches(c.off_mm)}`;
  }
  if (c.step === "park" && !c.moving) return "It is not moved: it stays where it stands.";
  return SAYS[c.step];
}

function partToggle(part, signal, actions) {
  const node = el("div", { class: "target part", role: "button", "data-part": part }, el("i", { class: "mark" }), el("span", { text: PART[part] ?? part }));
  onTap(node, signal, () => actions.swap({ part }));
  return node;
}

const minutes = (arc_s) => number(arc_s / 60, 1);

function row() {
  return el("tr", {}, el("th"), el("td"), el("td"), el("td"), el("td"));
}

export function mount(root, store, actions, signal) {
  const figure = el("b", { class: "step-number", "data-test": "step" });
  const says = el("p", { class: "parts-say", "data-test": "says" });
  const source = el("p", { class: "power", "data-test": "power" }, el("i", { class: "triangle" }), el("span"));
  const trouble = el("p", { class: "hot", "data-test": "trouble" }, el("i", { class: "triangle" }), el("span"));
  const body = el("tbody");
  const table = el("table", { class: "counts", "data-test": "counts" },
    el("thead", {},
      el("tr", {}, el("td"), el("th", { colspan: "2", text: "pierces" }), el("th", { colspan: "2", text: "arc, min" })),
      el("tr", {}, el("td"), el("th", { text: "before" }), el("th", { text: "now" }), el("th", { text: "before" }), el("th", { text: "now" }))),
    body);
  const toggles = el("div", { class: "toggles" });
  const set = button("", signal, () => actions.swap({ set: change(store.get())?.nextSet?.tag ?? null }), "words");
  const touch = keepPressed("Touch the sheet: the torch moves", signal, {
    may: () => can(store.get(), "change-touch") && change(store.get())?.step === "touch",
    done: () => actions.ask({ kind: "change-touch" }),
  });
  const next = button("", signal, () => {
    const now = change(store.get());
    if (now && NEXT[now.step]) actions.ask({ kind: NEXT[now.step][0] });
  }, "words");
  const swapped = button("", signal, () => {
    const now = change(store.get());
    if (now) actions.ask({ kind: "change-parts", parts: now.swapped, set: now.set?.tag ?? null });
  }, "words");
  const cancel = button("Cancel the change", signal, () => actions.ask({ kind: "change-cancel" }), "words");
  const right = button("At the table: set it right", signal, () => actions.setRight(), "words practice-only");
  const told = pager(signal, "step-says");
  told.text.append(says, source, trouble, table);
  root.append(
    side("left", { middle: [el("div", { class: "step-line" }, figure, told.node)], feet: [told.turn] }),
    side("column", { heads: [touch.node, toggles, set, swapped, next], feet: [cancel, right] }),
  );

  store.subscribe((state) => {
    const now = change(state);
    if (!now) return;
    setData(root, "step", now.step);
    setText(figure, String(now.number));
    setText(says, `${stepSays(now)} ${without(now, state)}`.trim());
    const p = power(now, state);
    setText(source.lastElementChild, p.says);
    show(source.firstElementChild, p.warns);
    setData(source, "power", now.power);
    const asked = NEXT[now.step]?.[0] ?? { swap: "change-parts", touch: "change-touch" }[now.step];
    // Why the step is not taken, where the panel knows.
    // (Metal in a hand tries the contact wherever the sheet cannot.)
    const barred = asked && !now.moving && now.step !== "contact" ? whyNot(state, asked) : null;
    const wrong = now.trouble ?? barred;
    show(trouble, Boolean(wrong));
    setText(trouble.lastElementChild, wrong ?? "");
    setData(root, "trouble", wrong ? "" : null);
    keyed(body, now.parts, (x) => x.part, row, (node, x) => {
      const [name, startsBefore, starts, minBefore, min] = node.children;
      setText(name, PART[x.part] ?? x.part);
      setText(startsBefore, x.before ? String(x.before.starts) : "-");
      setText(starts, String(x.starts));
      setText(minBefore, x.before ? minutes(x.before.arc_s) : "-");
      setText(min, minutes(x.arc_s));
      setData(node, "fresh", x.fresh ? "" : null);
    });
    told.draw();
    const swap = now.step === "swap" && can(state, "change-parts");
    show(toggles, swap);
    keyed(toggles, swap ? now.parts : [], (x) => x.part, (x) => partToggle(x.part, signal, actions), (node, x) => {
      setData(node, "holds", now.swapped.includes(x.part) ? "yes" : "open");
    });
    show(set, swap && now.sets.length > 0);
    relabel(set, now.set ? `Set ${now.set.tag}, ${number(now.set.amps)} A` : "Set: say which");
    show(swapped, swap);
    relabel(swapped, now.swapped.length > 1 ? `These ${now.swapped.length} are new` : now.swapped.length === 1 ? "This 1 is new" : "None is new");
    show(touch.node, now.step === "touch" && !now.moving && can(state, "change-touch"));
    const [kind, words] = NEXT[now.step] ?? [];
    show(next, Boolean(kind) && can(state, kind));
    relabel(next, words ?? "");
    show(cancel, can(state, "change-cancel") && now.step !== "done");
    const amiss = state.table?.practice === true && Boolean(now.trouble) && now.step === "contact";
    show(right, amiss);
  }, signal);
}
