// What counts from far away: the state in one word, the arc as solid or hollow, and the beat.

import { el, setData, setText, show } from "../lib/dom.js";
import { clock, seconds } from "../lib/format.js";
import { ageMs, alarmLook, arc, bandOf, far, frame, freshness, invented, jobLines } from "../state/select.js";

/** The beat steps at most so often, ms: twice a second. */
const BEAT_MS = 450;
const BEAT_STEPS = 10;

function beatMark() {
  const cells = Array.from({ length: BEAT_STEPS }, () => el("i"));
  const node = el("span", { class: "beat", "aria-hidden": "true" }, ...cells);
  let step = 0;
  let last = -1;
  let at = Number.NEGATIVE_INFINITY;
  return {
    node,
    /** Steps only when a new, good message was drawn. */
    draw(heard) {
      if (!heard || heard.n === last || heard.at - at < BEAT_MS) return;
      last = heard.n;
      at = heard.at;
      delete cells[step].dataset.on;
      step = (step + 1) % BEAT_STEPS;
      cells[step].dataset.on = "";
    },
  };
}

export function mountBand(root, strip, store, signal) {
  const word = el("h1", { class: "far-word", "data-test": "far" });
  const sign = el("i", { class: "sign", "aria-hidden": "true" });
  const where = el("span", { class: "where", "data-test": "where" });
  const old = el("span", { class: "old" });
  const time = el("span", { class: "clock" });
  const beat = beatMark();
  const block = el("div", { class: "arc-block", "data-test": "arc" }, el("span"));
  const whole = el("div", { class: "far" }, word, sign);
  root.append(whole, block);
  const practice = el("span", {}, el("b", { text: "PRACTICE" }), el("span", { class: "large-only", text: "nothing real moves" }));
  const data = el("span", {}, el("b", { text: "INVENTED DATA" }), el("span", { class: "large-only", text: "not for cutting metal" }));
  strip.append(practice, data, where, el("span", { class: "lives" }, old, beat.node, time));

  let told = "";
  /** The first that has room. */
  function sayWhere(lines) {
    const key = JSON.stringify([lines, where.clientWidth]);
    if (key === told) return;
    told = key;
    for (const says of [...lines, ""]) {
      setText(where, says);
      if (where.scrollWidth <= where.clientWidth + 1) return;
    }
  }

  store.subscribe((state) => {
    setText(word, far(state));
    const alarm = alarmLook(state);
    for (const node of [document.body, whole]) {
      setData(node, "alarm", alarm?.level ?? null);
      setData(node, "look", alarm?.look ?? null);
    }
    const fresh = freshness(state);
    setText(old, fresh === "late" ? `${seconds(ageMs(state) / 1000)} old` : "");
    show(old, fresh === "late");
    beat.draw(state.heard);
    // The clock is drawn with the message, so that a frozen screen shows a frozen clock.
    setText(time, fresh === "lost" && state.heard ? `last heard ${clock(new Date(Date.now() - ageMs(state)))}` : clock(new Date()));
    const { shape, word: says } = arc(state);
    setData(block, "shape", shape);
    setText(block.firstElementChild, says);
    setData(document.body, "frame", frame(state));
    setData(document.body, "fresh", fresh);
    setData(document.body, "band", bandOf(state));
    show(practice, state.table?.practice === true);
    show(data, invented(state));
    // Last: how much room there is depends on all that stands beside it.
    sayWhere(jobLines(state));
  }, signal);
}
