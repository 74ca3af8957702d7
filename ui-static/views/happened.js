// What happened: the first cause, what followed, what to do; and the record, page by page.

import { el, keyed, setData, setText, show } from "../lib/dom.js";
import { after, clock } from "../lib/format.js";
import { alarms, can, freshness, record } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";

export function mount(root, store, actions, signal) {
  const safe = el("p", { class: "safe" });
  const first = el("div", { class: "first-cause" }, el("p", { class: "first-word", text: "FIRST" }), el("h2"), el("p"), el("p"));
  const then = el("ul", { class: "lines then" });
  const none = el("p", { class: "say-line", text: "No alarm stands." });
  const lines = el("ul", { class: "lines record fill", "data-test": "record" });
  const trouble = el("p", { class: "say-line" });
  const earlier = button("Earlier", signal, () => actions.earlier(page()));
  const later = button("Later", signal, () => actions.earlier(-page()));
  const seen = button("", signal, () => actions.seenOrClear());
  const back = button("Back", signal, () => actions.page(null));
  const page = () => Math.max(3, Math.floor(lines.clientHeight / (lines.firstElementChild?.offsetHeight || 40)));
  root.classList.add("halves");
  root.append(
    el("section", { class: "left" }, safe, none, first, then, el("div", { class: "row bottom" }, back, seen)),
    el("section", { class: "column" }, trouble, lines, el("div", { class: "row bottom" }, earlier, later)),
  );
  actions.fetchEvents();

  store.subscribe((state) => {
    const list = alarms(state);
    const head = list[0] ? list.find((a) => a.head) : null;
    show(none, !head);
    show(first, Boolean(head));
    if (head) {
      setData(first, "level", head.level);
      setData(first, "seen", head.seen ? (head.gone ? "gone" : "seen") : "new");
      setText(first.children[1], head.what);
      setText(first.children[2], `Why: ${head.why}`);
      setText(first.children[3], `Do: ${head.remedy}`);
    }
    const others = list.filter((a) => a !== head);
    const shown = others.slice(0, 3);
    const rest = others.length - shown.length;
    keyed(then, shown, (a) => a.cause, () => el("li"), (node, a) => setText(node, `then ${after(a.after_s)}  ${a.what}`));
    if (rest > 0) setText(then.lastElementChild, `${rest + 1} more in the record`);

    const { view } = state;
    const hot = !view || freshness(state) !== "live" || view.torch.moving || !["off", "locked-out"].includes(view.torch.arc);
    const source = view?.signals.source_on;
    setText(safe, hot ? "Not safe to go near." : source === false ? "Source is off." : source === true ? "Not safe to touch the torch: source is on." : "Not safe to touch the torch: the panel cannot tell whether the source is on.");
    const events = record(state);
    setText(trouble, state.events.trouble ?? (events === null ? "Being read." : events.length === 0 ? "Nothing is recorded yet." : ""));
    show(trouble, trouble.textContent !== "");
    const size = page();
    const end = Math.max(0, (events?.length ?? 0) - state.events.back);
    const part = (events ?? []).slice(Math.max(0, end - size), end);
    keyed(lines, part, (e) => String(e.id), () => el("li", {}, el("time"), el("span")), (node, e) => {
      setText(node.firstElementChild, clock(new Date(e.wall_ms)));
      setText(node.lastElementChild, e.says);
      setData(node, "severity", e.severity);
    });
    show(earlier, end > size);
    show(later, state.events.back > 0);
    const unseen = list.find((a) => !a.seen);
    const clearable = list.find((a) => a.latched && a.gone);
    show(seen, Boolean((unseen && can(state, "seen")) || (clearable && can(state, "clear"))));
    relabel(seen, unseen ? "Seen" : "Clear");
  }, signal);
}
