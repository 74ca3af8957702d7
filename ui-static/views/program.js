// Choose a program: a few on a page, each in its true shape.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { size, words } from "../lib/format.js";
import { isSmall } from "../lib/glass.js";
import { VERDICT, can, interruption } from "../state/select.js";
import { button } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";
import { onTap } from "../lib/touch.js";

/** A name of more letters wants the room of the drawing. */
const LONG = 24;
/** As many as can be touched: two on a small glass, and under the words of a run that was left. */
const aPage = (left) => (left || isSmall() ? 2 : 4);

function card(listed, signal, actions) {
  const shape = plate({ scales: false, you: false, plain: true });
  const name = el("h2", { text: listed.name });
  const sheet = el("p", { class: "sheet" });
  const verdict = el("p", { class: "verdict-line" });
  const node = el(
    "div",
    { class: "target card", role: "button", "data-program": listed.id, "data-long": listed.name.length > LONG },
    el("div", { class: "thumb" }, shape.node),
    el("div", { class: "card-words" }, name, sheet, verdict),
  );
  onTap(node, signal, () => actions.openReport(listed.id));
  node.drawCard = (read) => {
    if (!read) {
      setText(sheet, "being read");
      return;
    }
    if (read.trouble) {
      setText(sheet, read.trouble);
      return;
    }
    const what = [read.material && words(read.material), read.thickness_mm && `${read.thickness_mm} mm`];
    setText(sheet, [what.filter(Boolean).join(" "), read.sheet && size(read.sheet)].filter(Boolean).join("\n") || "no setup beside it");
    setText(verdict, VERDICT[read.report.verdict]);
    verdict.dataset.verdict = read.report.verdict;
    shape.draw({ drawing: read.drawing });
  };
  return node;
}

export function mount(root, store, actions, signal) {
  const list = el("div", { class: "cards fill" });
  const none = el("p", { class: "say-line" });
  const earlier = button("Earlier", signal, () => actions.list(-aPage(interruption(store.get().view))), "plain");
  const later = button("Later", signal, () => actions.list(aPage(interruption(store.get().view))), "plain");
  const setup = button("Set up", signal, () => actions.page("setup"), "plain pictured-setup");
  const happened = button("See what happened", signal, () => actions.page("happened"), "plain pictured-happened");
  const hand = button("Move by hand", signal, () => actions.page("hand"), "plain pictured-hand");
  const leave = button("Give that run up", signal, () => actions.page("leave"));
  root.append(side("left whole foot", { middle: [none, list], feet: [setup, leave, happened, hand, el("div", { class: "fill" }), earlier, later] }));
  actions.fetchPrograms();

  store.subscribe((state) => {
    const { list: all, from, trouble } = state.programs;
    // A run that an earlier start left unfinished is gone on with by loading its job, or given up.
    const left = interruption(state.view);
    show(setup, !left);
    show(hand, !left && can(state, "hand-move"));
    show(leave, Boolean(left));
    setText(none, trouble ?? (left && all?.length > 0 ? `${left.what} Load its job to go on with it.` : null) ?? (all === null ? "Being read." : all.length === 0 ? "No programs. Put one in the folder `programs` of the state folder." : ""));
    show(none, none.textContent !== "");
    const shown = (all ?? []).slice(from, from + aPage(left));
    for (const listed of shown) if (!(listed.id in state.read)) actions.fetchProgram(listed.id);
    setData(list, "few", shown.length > 0 && shown.length < 3 ? String(shown.length) : null);
    keyed(list, shown, (l) => l.id, (l) => card(l, signal, actions), (node, l) => node.drawCard(state.read[l.id]));
    show(earlier, from > 0);
    show(later, (all?.length ?? 0) > from + aPage(left));
  }, signal);
}
