// Choose a program: a few on a page, each in its true shape.

import { el, keyed, setText, show } from "../lib/dom.js";
import { size, words } from "../lib/format.js";
import { isSmall } from "../lib/glass.js";
import { VERDICT } from "../state/select.js";
import { button } from "../widgets/button.js";
import { plate } from "../widgets/plate.js";
import { side } from "../widgets/side.js";
import { onTap } from "../lib/touch.js";

/** As many as can be touched: two on a small glass. */
/** A name of more letters wants the room of the drawing. */
const LONG = 24;
const aPage = () => (isSmall() ? 2 : 4);

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
  const earlier = button("Earlier", signal, () => actions.list(-aPage()));
  const later = button("Later", signal, () => actions.list(aPage()));
  const setup = button("Set up", signal, () => actions.page("setup"));
  const happened = button("What happened", signal, () => actions.page("happened"));
  root.append(side("left whole foot", { middle: [none, list], feet: [setup, happened, el("div", { class: "fill" }), earlier, later] }));
  actions.fetchPrograms();

  store.subscribe((state) => {
    const { list: all, from, trouble } = state.programs;
    setText(none, trouble ?? (all === null ? "Being read." : all.length === 0 ? "No programs. Put one in the folder `programs` of the state folder." : ""));
    show(none, none.textContent !== "");
    const shown = (all ?? []).slice(from, from + aPage());
    for (const listed of shown) if (!(listed.id in state.read)) actions.fetchProgram(listed.id);
    keyed(list, shown, (l) => l.id, (l) => card(l, signal, actions), (node, l) => node.drawCard(state.read[l.id]));
    show(earlier, from > 0);
    show(later, (all?.length ?? 0) > from + aPage());
  }, signal);
}
