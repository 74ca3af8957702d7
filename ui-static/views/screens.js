// Other screens. At the console: the PIN by which a screen elsewhere may prepare jobs; made here, shown once, kept
// nowhere as it reads. Elsewhere: the PIN is given, and a program is sent. Nothing that moves, fires or clears is ever
// taken from elsewhere.

import { el, setText, show } from "../lib/dom.js";
import { spaced } from "../lib/format.js";
import { button, relabel } from "../widgets/button.js";
import { pager } from "../widgets/pager.js";
import { side } from "../widgets/side.js";

/** So many digits: the panel lets five wrong ones a minute be tried. */
const DIGITS = 6;
/** What programs and setups are called. */
const FILES = ".nc,.ngc,.tap,.cnc,.gcode,.txt,.iso,.din,.toml";

/** As many digits as are asked for, each as likely as any other. */
function drawn(count) {
  const digits = [];
  while (digits.length < count) {
    const [byte] = crypto.getRandomValues(new Uint8Array(1));
    // 250 and more would make the first six digits likelier.
    if (byte < 250) digits.push(byte % 10);
  }
  return digits.join("");
}

const MAY = "A screen on your network that is given this PIN may look at programs, send one, vet and load it. It never moves, fires or clears.";
const READ = "Nothing is encrypted: whoever is on that network can read what is shown and typed there.";

export function mount(root, store, actions, signal) {
  const so = el("p", { class: "say-line", "data-test": "so", text: "Being asked." });
  const back = button("Back", signal, () => actions.page("setup"), "plain pictured-back");
  const told = pager(signal, "step-says");
  store.subscribe(() => {
    if (!told.node.hidden) told.draw();
  }, signal);
  actions.askPin().then((is) => {
    if (signal.aborted) return;
    if (is === "elsewhere") elsewhere();
    else if (is) console(is);
  });
  const begin = side("left", { heads: [so], feet: [back] });
  root.append(begin);
  function laid(left, right) {
    begin.remove();
    root.append(side("left", { ...left, feet: [told.turn, back] }), side("column", right));
    told.draw();
  }

  function console(is) {
    const pin = el("p", { class: "pin", "data-test": "pin" });
    told.text.append(el("p", { text: `${MAY} ${READ}` }));
    const make = button("Make a PIN", signal, async () => {
      const made = drawn(DIGITS);
      if (await actions.setPin(made)) draw(true, made);
    }, "words");
    const none = button("No PIN", signal, async () => {
      if (await actions.setPin(null)) draw(false, null);
    }, "plain");
    const beyond = is.lan ? "" : " No screen elsewhere is let in: the machine file says so, at access.watch.";
    function draw(set, made) {
      setText(so, made ? "Type it on the other screen. It is shown once." : (set ? "A PIN is set." : "No PIN is set.") + beyond);
      setText(pin, made ? spaced(made) : "");
      show(pin, Boolean(made));
      show(none, set);
      relabel(make, set ? "Make another PIN" : "Make a PIN");
      // What it is good for was read before: while it is shown there is nothing but it.
      show(told.node, !made);
      if (made) show(told.turn, false);
      else told.draw();
    }
    laid({ heads: [so, pin], middle: [told.node] }, { feet: [none, make] });
    draw(is.set, null);
  }

  function elsewhere() {
    const pin = el("input", { class: "typed", inputmode: "numeric", maxlength: "12", autocomplete: "off", "data-test": "pin" });
    const files = el("input", { class: "typed", type: "file", accept: FILES, multiple: "", "data-test": "files" });
    told.text.append(el("p", { text: `This screen watches, and may hold. With the PIN that the console shows it may also prepare a job. ${READ}` }));
    const give = button("Give the PIN", signal, async () => {
      if (await actions.givePin(pin.value.trim())) draw(true, "The PIN is taken.");
      pin.value = "";
    }, "words");
    const send = button("Send", signal, () => sent(false), "words");
    const over = button("Replace the one there", signal, () => sent(true), "plain");
    async function sent(replace) {
      const went = await actions.sendProgram([...files.files], replace);
      if (went === "there") draw(true, "A program of this name is there already.", true);
      else if (went) draw(true, `${went} is in the list.`);
    }
    function draw(given, says, there = false) {
      setText(so, says);
      for (const node of [pin, give]) show(node, !given);
      for (const node of [files, send]) show(node, given);
      show(over, there);
      told.draw();
    }
    laid({ heads: [so, pin, files], middle: [told.node] }, { feet: [give, over, send] });
    draw(false, "Give the PIN that the console shows.");
  }
}
