// HOLD: one touch, first contact, no confirmation, the same place on every page. Its first stage
// is drawn by the finger itself; the others by what the panel says.

import { el, setData, setText } from "../lib/dom.js";
import { onContact } from "../lib/touch.js";
import { holdBar } from "../state/select.js";

export function mountHold(root, store, actions, signal) {
  const word = el("b", { text: "HOLD" });
  const sub = el("small");
  const bar = el("div", { class: "hold", role: "button" }, word, sub);
  root.append(bar);
  onContact(bar, signal, () => {
    setData(bar, "look", "asked");
    actions.hold();
  });
  store.subscribe((state) => {
    const { look, word: says, sub: more } = holdBar(state);
    setData(bar, "look", look);
    setText(word, says);
    setText(sub, more);
  }, signal);
}
