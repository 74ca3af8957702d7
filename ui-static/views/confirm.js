// Its own page for what cannot be undone: make ready, then keep pressed. One page, five uses.

import { el, show } from "../lib/dom.js";
import { can, drawing, interruption, nextAct, placeFreshness, result } from "../state/select.js";
import { button, twoSteps } from "../widgets/button.js";
import { line, pager } from "../widgets/pager.js";
import { plate } from "../widgets/plate.js";

const USES = {
  start: {
    ask: "start",
    words: (s) => `START: cut ${s.view.cuts.length} from ${s.job?.thickness_mm ?? ""} mm sheet`,
    title: (s) => `${s.job?.accepted ?? 0} accepted: cut with care`,
    tells: () => "The torch moves, finds the plate and fires. Visor down. Stand clear.",
  },
  skip: {
    ask: "skip-cut",
    words: (s) => `Leave cut ${s.view.hold?.cut ?? ""} and go on`,
    title: (s) => `Cut ${s.view.hold?.cut ?? ""} stays as it is`,
    tells: () => "The torch goes on to the next cut, finds the plate and fires. What is left of this cut is not cut.",
  },
  end: {
    ask: "end-job",
    words: () => "End the job here",
    title: (s) => `${result(s.view).left} cuts are left uncut`,
    tells: () => "The torch stays out. The job cannot be taken up again from here.",
  },
  clear: {
    ask: "clear",
    words: (s) => `Clear: ${nextAct(s)?.alarm?.what ?? ""}`,
    title: () => "Is it safe to go on?",
    tells: () => "Clearing starts nothing. The place stays doubtful until the axes are referenced and you confirm it.",
  },
  leave: {
    ask: "clear",
    words: () => "Give the interrupted run up",
    title: () => "It cannot be taken up again then",
    tells: (s) => `${interruption(s.view)?.why ?? ""} What is cut stays cut.`,
  },
};

export function mountFor(use) {
  const { ask, words, title, tells } = USES[use];
  return (root, store, actions, signal) => {
    root.classList.add("in-two");
    const whole = plate({ scales: false });
    const may = () => store.get().readyAt !== null && can(store.get(), ask);
    const step = twoSteps(signal, {
      words: "",
      may,
      ready: () => actions.ready(ask),
      done: () => actions.confirmed(use),
    });
    const told = pager(signal);
    const [heading, text] = [line("caption"), line("before wide")];
    told.text.append(heading.node, text.node);
    const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
    root.append(
      el("div", { class: "two-row" }, step.first, el("div", { class: "between" }), step.second),
      el("div", { class: "under-two confirm" },
        el("div", { class: "stack" }, told.turn, back),
        el("div", { class: "near" }, whole.node),
        el("div", { class: "column" }, told.node)),
    );
    store.subscribe((state) => {
      if (!state.view) return;
      const drawn = drawing(state);
      if (drawn) whole.draw({ drawing: drawn, cuts: state.view.cuts, marks: state.view.marks, torch: state.view.torch, fresh: placeFreshness(state) });
      step.draw(may(), words(state));
      show(step.first, can(state, ask));
      heading.say(title(state));
      text.say(tells(state));
      told.draw();
    }, signal);
  };
}
