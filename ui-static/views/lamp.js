// The lamp test: every shape that the glass has for the arc and for alarms, one after the other, with what
// it means. The band above stays what it is: it tells what is true.

import { el, setData, setText, show } from "../lib/dom.js";
import { ARC, can } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { side } from "../widgets/side.js";

/** What is shown: a block of the arc, or the sign of an alarm, and in words what it stands for. */
const SHOWN = [
  { shape: "off", word: ARC.off, means: "Hollow: no arc, and none is asked for." },
  { shape: "asked", word: ARC.asked, means: "Half solid: the torch may fire at any moment." },
  { shape: "on", word: ARC.on, means: "Solid: the arc burns. Stay clear." },
  { shape: "locked-out", word: ARC["locked-out"], means: "A bar across: the permit relay is open." },
  { shape: "unknown", word: ARC.unknown, means: "Hatched: the panel cannot tell. Take it as burning." },
  { sign: "danger", look: "new", means: "An octagon that flashes: danger. It stops to flash when it is seen." },
  { sign: "job-stopped", look: "new", means: "A triangle that flashes: the job was stopped." },
  { sign: "danger", look: "seen", means: "An octagon that stands: seen, and still so." },
  { sign: "job-stopped", look: "gone", means: "A broken triangle: seen, and gone by itself." },
];

export function mount(root, store, actions, signal) {
  const block = el("div", { class: "arc-block", "data-test": "lamp" }, el("span"));
  const ground = el("div", { class: "sign-ground" }, el("i", { class: "sign", "aria-hidden": "true" }));
  const means = el("p", { class: "do-line", "data-test": "means" });
  let at = 0;
  const next = button("", signal, () => {
    at = (at + 1) % SHOWN.length;
    draw();
  });
  const back = button("Back", signal, () => actions.page("setup"), "plain pictured-back");
  // Where the table has a beacon, a sounder or extraction: they are tried by the panel, for some seconds.
  const wired = button("Try sound and lights", signal, () => actions.ask({ kind: "lamp-test" }), "words");
  root.append(
    side("left", { heads: [el("p", { class: "say-line", text: "A lamp test: nothing here is so." })], middle: [el("div", { class: "lamp" }, block, ground)], feet: [back] }),
    side("column", { middle: [means], feet: [wired, next] }),
  );

  function draw() {
    const { shape, word, sign, look, means: says } = SHOWN[at];
    setData(root, "shows", sign ? "sign" : "block");
    setData(block, "shape", shape ?? null);
    setText(block.firstElementChild, word ?? "");
    setData(ground, "alarm", sign ?? null);
    setData(ground, "look", look ?? null);
    setText(means, says);
    relabel(next, `Next, ${at + 1} of ${SHOWN.length}`);
  }
  draw();
  store.subscribe((state) => show(wired, can(state, "lamp-test")), signal);
}
