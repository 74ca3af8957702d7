// It stands still: whether it is safe to go near, why it stands, where, what to do, and the ways on.
// Clearing comes first, one act at a time; a choice starts nothing, it opens its own page.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { mm } from "../lib/format.js";
import { MARK, can, datum, goesOn, howOften, jobLines, leading, nextAct, steps, stopMeasured, waysOn, whyNot } from "../state/select.js";
import { button, keepPressed, relabel } from "../widgets/button.js";
import { lastSecondsOf } from "../widgets/last-seconds.js";
import { nearLine } from "../widgets/near.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";
import { closePlate, pictured } from "./resume.js";

/** Acts that move the torch or close its relay: kept pressed. */
const MOVES = ["home", "datum-go", "permit-test"];
const VOUCH = {
  "source-off": "Torch power is off, or its start plug is out",
  "relay-seen": "The permit relay was seen to follow",
};

/** So many words at most are read before a choice. */
const MOST_WORDS = 30;

/** What the far word names already. */
const TOLD_BY_THE_BAND = ["arc-lost", "fire-dropped", "no-arc", "estop", "hold"];

/** The choices, each in its place, whatever else is there. */
function choices(store, actions, signal) {
  const home = keepPressed("", signal, {
    may: () => MOVES.includes(nextAct(store.get())?.act),
    done: () => actions.ask({ kind: nextAct(store.get()).act }),
  });
  const act = button("", signal, () => actions.act(nextAct(store.get())), "words");
  const resume = button("", signal, () => actions.page("resume"), "words pictured-go-on");
  const skip = button("", signal, () => actions.page("skip"), "words pictured-leave");
  const change = button("Change torch parts", signal, () => actions.ask({ kind: "change-begin" }), "words pictured-parts");
  const end = button("End the job", signal, () => actions.page("end"), "words pictured-end");
  const right = button("Set it right", signal, () => actions.setRight(), "words practice-only");
  const happened = button("See what happened", signal, () => actions.page("happened"), "words plain pictured-happened");
  for (const [place, nodes] of Object.entries({ a: [home.node, act, resume], b: [change], c: [skip, right], d: [end], e: [happened] })) {
    for (const node of nodes) node.classList.add(`place-${place}`);
  }
  return {
    node: el("div", { class: "column choices" }, home.node, act, resume, change, skip, right, end, happened),
    home, act, resume, skip, change, end, right,
  };
}

function drawChoices(root, b, state, next) {
  const { view } = state;
  const { hold } = view;
  const ways = waysOn(state);
  const moving = MOVES.includes(next?.act);
  const over = datum(state);
  show(b.home.node, moving);
  b.home.relabel(next?.act === "datum-go" && over ? `Torch to ${MARK[over.mark.feature]}: it moves` : next?.act === "permit-test" ? "Test the permit relay" : "Reference the axes: the torch moves");
  setData(root, "alone", moving ? "" : null);
  show(b.act, ["seen", "clear", "confirm-place", "vouch"].includes(next?.act));
  relabel(b.act, {
    seen: `Seen: ${next?.alarm?.what ?? ""}`,
    clear: `Clear: ${next?.alarm?.what ?? ""}`,
    "confirm-place": "The torch is where the screen says",
    vouch: VOUCH[next?.check] ?? "",
  }[next?.act] ?? "");
  show(b.resume, ways.includes("resume"));
  relabel(b.resume, `Go on with cut ${hold?.stop?.cut ?? ""}: choose the point`);
  show(b.change, can(state, "change-begin") && !moving && next?.act !== "seen");
  show(b.skip, ways.includes("skip-cut"));
  relabel(b.skip, hold?.cut && hold.cut < view.cuts.length ? `Leave cut ${hold.cut}, go on to ${hold.cut + 1}` : "Leave this cut");
  const wrong = view.alarms.some((a) => !a.gone) || view.signals.estop_open || !view.link.alive;
  const hands = state.table?.practice === true && wrong && !ways.includes("skip-cut") && can(state, "hold");
  show(b.right, hands);
  // Beside what moves the torch there is room for so many: in practice hands go before the end.
  setData(root, "hands", moving && hands ? "" : null);
  show(b.end, ways.includes("end-job") && !(moving && hands));
}

/** The stop in pictures: near, and where on the whole sheet. */
function pictures() {
  const close = closePlate();
  const whole = plate({ scales: false });
  const node = el("div", { class: "pictures" }, el("div", { class: "near" }, close.node), el("div", { class: "whole-sheet" }, whole.node));
  return {
    node,
    draw(state, mark) {
      const place = mark?.place ?? state.view.torch.place;
      const shown = pictured(state, null);
      const focused = shown?.near?.focus ? shown.near : shown && place ? { ...shown.whole, focus: { at: place, zoom: 4 } } : null;
      show(node, Boolean(focused || shown));
      show(node.firstElementChild, Boolean(focused));
      show(node.lastElementChild, Boolean(shown));
      if (focused) close.draw(focused);
      if (shown) whole.draw(shown.whole);
    },
  };
}

/** Of texts the ones that fit in so many words, whole, those that come first before the others. */
export function inWordsOf(most, texts) {
  let left = most;
  const kept = {};
  for (const [key, text] of Object.entries(texts)) {
    const words = text.split(/\s+/).filter(Boolean).length;
    kept[key] = words <= left ? text : "";
    if (words <= left) left -= words;
  }
  return kept;
}

/** Where along the cut it stands, and how often it has. */
function standsAt(state) {
  const { hold } = state.view;
  const at = !goesOn(state) && hold?.at_mm !== null && hold?.at_mm !== undefined ? `At ${mm(hold.at_mm)} along cut ${hold.cut}.` : "";
  const ran = hold?.ran_on_mm >= 0.1 ? `Ran on ${mm(hold.ran_on_mm)}${goesOn(state) ? "" : " without arc"}.` : "";
  const often = howOften(state);
  const again = often > 1 ? `${often} times in this run.` : "";
  const down = hold?.torch_down === true ? "The torch is down: whatever comes next lifts it first." : "";
  return [at, ran, again, down].filter(Boolean).join(" ");
}

export function mount(root, store, actions, signal) {
  const shown = pictures();
  const near = nearLine();
  const told = pager(signal, "", { natural: true });
  const what = line("what-line", { "data-test": "what" });
  const why = line("why-line", { "data-test": "why" });
  const remedy = line("do-line", { "data-test": "do" });
  const list = el("ol", { class: "steps" });
  const where = line("where-line", { "data-test": "at" });
  const last = lastSecondsOf();
  shown.node.lastElementChild.before(last.node);
  told.text.append(what.node, why.node, remedy.node, where.node, list);
  const b = choices(store, actions, signal);
  root.append(
    side("left", { heads: [near.node], middle: [shown.node, el("div", { class: "told" }, told.node, told.turn)] }),
    b.node,
  );

  store.subscribe((state) => {
    const { view } = state;
    if (!view) return;
    const { hold } = view;
    const said = hold ?? leading(view);
    const mark = hold?.cut ? view.marks.findLast((m) => m.cut === hold.cut) : null;
    near.draw(state, mark && !goesOn(state) ? `see flag ${mark.number}` : "");
    shown.draw(state, mark);
    const next = nextAct(state);
    drawChoices(root, b, state, next);

    const order = goesOn(state) ? [] : steps(state);
    // The way on is shut for another reason than a latch: parts that were not tried, say.
    const shut = !goesOn(state) && order.length === 0 && !next ? whyNot(state, "resume") : null;
    last.draw(state);
    const lines = {
      remedy: shut ? `No way on yet: ${shut}` : said ? `Do: ${said.remedy}` : "",
      why: said ? `Why: ${stopMeasured(state)?.likely ?? said.why}.`.replaceAll("..", ".") : "",
      what: TOLD_BY_THE_BAND.includes(said?.cause) ? "" : jobLines(state)[0],
      where: standsAt(state),
    };
    // Once there is a choice, no more is read before it than this; "See what happened" has the rest.
    const kept = goesOn(state) ? inWordsOf(MOST_WORDS - near.words(), lines) : lines;
    setData(root, "chooses", goesOn(state) ? "" : null);
    what.say(kept.what);
    remedy.say(kept.remedy);
    why.say(kept.why);
    where.say(kept.where);
    show(list, order.length > 0);
    keyed(list, order.map((s, k) => ({ ...s, k })), (s) => `${s.k}`, () => el("li", {}, el("i", { class: "mark" }), el("span")), (node, s) => {
      setData(node, "holds", s.done ? "yes" : "open");
      setText(node.lastElementChild, s.says);
    });
    told.draw();
  }, signal);
}
