// The torch moved by hand: only while a key is kept pressed, or by one step at a time. The arc cannot
// fire here. A key that is let go, slid off, or joined by a second finger stops the torch; so does a screen
// that is lost, for the panel wants each press asked again.

import { el, setText, show } from "../lib/dom.js";
import { onWhilePressed } from "../lib/touch.js";
import { can, freshness, lacks } from "../state/select.js";
import { button, relabel } from "../widgets/button.js";
import { nearLine } from "../widgets/near.js";
import { pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

/** A press is asked again so often, ms: the panel wants it within 130. */
const AGAIN_MS = 60;
/** How far a touch moves it, mm; `null`: as long as it lasts. */
const STEPS_MM = [null, 10, 1, 0.1];
const says = (mm) => (mm === null ? "Steady" : `By ${mm} mm`);

export function mount(root, store, actions, signal) {
  const safe = nearLine();
  const place = el("p", { class: "say-line", "data-test": "place" });
  const what = el("p", { class: "do-line large-only" });
  const told = pager(signal, "step-says");
  const off = el("p", { "data-test": "lacks" });
  told.text.append(off);
  let step = 0;
  let upright = false;
  const may = (state) => freshness(state) === "live" && (can(state, "hand-move") || state.view.phase === "hand");

  function key(words, ways) {
    const node = el("div", { class: "target nudge", role: "button" }, el("span", { text: words }));
    const asked = (press) => {
      const { axis, forward } = upright ? ways[1] : ways[0];
      return { kind: "hand-move", axis, forward, press, step_mm: STEPS_MM[step] };
    };
    const name = () => Math.floor(Math.random() * 2 ** 48);
    onWhilePressed(node, signal, {
      everyMs: AGAIN_MS,
      may: () => may(store.get()),
      began: () => (STEPS_MM[step] === null ? asked(name()) : null),
      again: (move) => actions.handMove(move),
      ended: () => actions.handStop(),
      lifted: () => {
        if (STEPS_MM[step] !== null) actions.handMove(asked(name()));
      },
    });
    return node;
  }
  const x = (forward) => ({ axis: "x", forward });
  const y = (forward) => ({ axis: "y", forward });
  const z = (forward) => ({ axis: "z", forward });
  const away = key("Away", [y(true), z(true)]);
  const toward = key("To you", [y(false), z(false)]);
  const left = key("Left", [x(false), x(false)]);
  const right = key("Right", [x(true), x(true)]);
  const size = button("", signal, () => {
    step = (step + 1) % STEPS_MM.length;
    relabel(size, says(STEPS_MM[step]));
  }, "nudge words");
  relabel(size, says(STEPS_MM[step]));
  const turn = button("Up and down", signal, () => {
    upright = !upright;
    relabel(turn, upright ? "Over the sheet" : "Up and down");
    setText(away.firstElementChild, upright ? "Up" : "Away");
    setText(toward.firstElementChild, upright ? "Down" : "To you");
    drawn(store.get());
  }, "nudge words");
  const back = button("Back", signal, () => actions.page(null), "plain pictured-back");
  root.append(
    side("left", { heads: [safe.node], middle: [what, place, told.node], feet: [told.turn, back] }),
    side("column nudges", { feet: [el("div", { class: "row" }, left, away, right), el("div", { class: "row" }, size, toward, turn)] }),
  );

  function drawn(state) {
    safe.draw(state);
    const torch = state.view?.torch;
    const open = may(state);
    setText(what, open ? "Look at the torch: it moves as you see it." : "The torch cannot be moved by hand now.");
    // Downwards it goes where contact with the sheet is seen.
    const without = upright ? lacks(state, "hand").map((lack) => lack.therefore).join(" ") : "";
    setText(off, without);
    show(told.node, without !== "");
    // Up and down neither of these two numbers changes.
    show(place, without === "");
    if (without === "") show(told.turn, false);
    else told.draw();
    const mm = (v) => v.toFixed(1);
    setText(place, torch?.place ? `Right ${mm(torch.place[0])}, away ${mm(torch.place[1])} mm` : "");
    for (const node of [away, toward, left, right, size, turn]) show(node, open && !(upright && (node === left || node === right)));
    if (without !== "") show(toward, false);
    show(back, state.view?.phase !== "hand");
  }
  store.subscribe(drawn, signal);
}
