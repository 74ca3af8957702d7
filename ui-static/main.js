// The only module that acts when it is loaded: builds store, link and pages.

import { el, setData } from "./lib/dom.js";
import { fitGlass } from "./lib/glass.js";
import { createStore } from "./lib/store.js";
import { pageChanged, watchFingers } from "./lib/touch.js";
import { api } from "./link/api.js";
import { applied } from "./link/decode.js";
import { listen } from "./link/socket.js";
import { initial } from "./state/model.js";
import { reduce } from "./state/reduce.js";
import { RECORD } from "./state/pages.js";
import { atEnd, moved, shownState } from "./state/replay.js";
import { WITH_PAUSES, alarms, can, checks, eventsWanted, nextAct, pageOf, report, stopWanted, wayOn, waysWanted, weighing } from "./state/select.js";
import { mount as accept } from "./views/accept.js";
import { mount as checksPage } from "./views/checks.js";
import { mount as commission } from "./views/commission.js";
import { mountFor } from "./views/confirm.js";
import { mount as cut } from "./views/cut.js";
import { mount as finish } from "./views/finish.js";
import { mount as happened } from "./views/happened.js";
import { mount as hand } from "./views/hand.js";
import { mount as curves } from "./views/curves.js";
import { mount as held } from "./views/held.js";
import { mount as go } from "./views/go.js";
import { mount as lamp } from "./views/lamp.js";
import { mount as parts } from "./views/parts.js";
import { mount as plan } from "./views/plan.js";
import { mount as program } from "./views/program.js";
import { mount as reportPage } from "./views/report.js";
import { mount as datumPage } from "./views/datum.js";
import { mount as resume } from "./views/resume.js";
import { mount as run } from "./views/run.js";
import { mount as runs } from "./views/runs.js";
import { mount as save } from "./views/save.js";
import { mount as screens } from "./views/screens.js";
import { mount as setup } from "./views/setup.js";
import { mount as ways } from "./views/ways.js";
import { mount as weigh } from "./views/weigh.js";
import { mount as wait } from "./views/wait.js";
import { mountBand } from "./widgets/far-band.js";
import { mountHold } from "./widgets/hold-bar.js";
import { mountReplay } from "./widgets/replay-bar.js";
import { mountSaid } from "./widgets/said.js";

const PAGES = {
  wait, hand, program, report: reportPage, plan, accept, checks: checksPage, cut, held, datum: datumPage, resume, ways, weigh, go, parts, finish, happened, curves, runs, run, save, setup, lamp, screens, commission,
  start: mountFor("start"), skip: mountFor("skip"), end: mountFor("end"), clear: mountFor("clear"), leave: mountFor("leave"),
};
/** The look at the clock that makes data late and lost, ms. */
const TICK_MS = 100;
/** HOLD is sent again so often until it is taken, ms. */
const HOLD_AGAIN_MS = 250;

/** A replay that plays is moved on so often, ms. */
const PLAY_MS = 200;

/** While the record is looked at it is read again so often, ms. */
const READ_AGAIN_MS = 3000;

const now = () => performance.now();
const store = createStore(initial(now()), reduce, (draw) => requestAnimationFrame(draw));
const { dispatch } = store;
const fetching = new Set();

/** A request with the generation that this screen saw. */
async function ask(what) {
  const { view } = store.get();
  if (!view) return;
  told(await api.ask(view.generation, what));
}

/** Says what the panel did not take. */
function told(result) {
  if (result.tag === "refused") dispatch({ type: "said", says: result.says, remedy: result.remedy });
  else if (result.tag === "lost") dispatch({ type: "said", says: "The panel did not answer.", remedy: "Look whether it lives, then press again." });
  else dispatch({ type: "said" });
  return result.tag === "done";
}

async function once(key, work) {
  if (fetching.has(key)) return;
  fetching.add(key);
  try {
    await work();
  } finally {
    fetching.delete(key);
  }
}

/** The press of HOLD in hand: a number that no other press has, on this screen or another. */
let holding = 0;
async function sendHold(press) {
  while (store.get().hold.stage === "asked" && holding === press) {
    const again = new Promise((done) => setTimeout(done, HOLD_AGAIN_MS));
    api.hold(press).then((result) => {
      // "Already so" is the answer to a press that was sent again and had been taken.
      if (result.tag === "done" && holding === press) dispatch({ type: "hold-taken", now: now(), nothing: false });
    });
    await again;
  }
}

/**
 * The machine at a moment of a recording, with the drawing of its job; asked for until it is there, or until it
 * is no longer wanted: `null`.
 */
async function momentAt(start, us, wanted) {
  for (;;) {
    const result = await api.replayAt(start, us);
    if (!wanted() || result.tag !== "done") return null;
    if (!result.answer.reached) continue;
    const { view } = result.answer;
    const known = [store.get().replay?.job, store.get().instant?.job, store.get().job].find((job) => job && job.seal === view.seal);
    if (known || !view.seal) return { start, us, view, job: known ?? null, reached: true };
    const job = await api.replayJob(view.seal);
    return wanted() ? { start, us, view, job: job.tag === "done" ? job.answer : null, reached: true } : null;
  }
}

/** The replay goes to a moment. One that was asked for later is gone to instead. */
let going = 0;
async function goTo({ start, us }, playing) {
  going += 1;
  const mine = going;
  const wanted = () => going === mine && store.get().replay !== null;
  dispatch({ type: "replay", replay: { playing, reached: false, to: { start, us } } });
  const shown = await momentAt(start, us, wanted);
  if (shown) dispatch({ type: "replay", replay: { ...shown, to: null, playing: playing && store.get().replay.playing } });
  // What cannot be shown any further is left as soon as it is known.
  else if (wanted()) dispatch({ type: "replay", replay: null });
}

/** Moves a replay that plays on, by as much time as has passed. */
function playOn() {
  let at = now();
  let busy = false;
  return async () => {
    const since = now() - at;
    at = now();
    const { replay } = store.get();
    if (!replay?.playing || busy) return;
    busy = true;
    // A screen that was asleep, or a way that took long, is no reason to leap.
    await goTo(moved(replay, Math.min(since, 2 * PLAY_MS) / 1000), true);
    const then = store.get().replay;
    if (then?.playing && atEnd(then)) dispatch({ type: "replay", replay: { playing: false } });
    busy = false;
  };
}

/** What pages of a replay may do: nothing. */
const nothing = new Proxy({}, { get: () => () => {} });

/** The store as pages see it: the machine, or the machine as it was. */
const shownStore = {
  get: () => shownState(store.get()),
  subscribe: (drawer, signal) => store.subscribe((state) => drawer(shownState(state)), signal),
};

const actions = {
  page: (page) => dispatch({ type: "page", page }),
  list: (by) => dispatch({ type: "list", by }),
  finding: (by) => dispatch({ type: "finding", by }),
  openReport: (id) => dispatch({ type: "report", id }),
  putAway: () => dispatch({ type: "said" }),
  accept: (reason) => dispatch({ type: "accept", finding: store.get().report.finding, reason }),
  pauses(yes) {
    dispatch({ type: "pauses", yes, reason: WITH_PAUSES });
    if (yes) dispatch({ type: "page", page: "report" });
  },
  ask,
  vouch: (check, yes) => ask({ kind: "vouch", check, yes }),
  hold() {
    dispatch({ type: "hold-asked", now: now() });
    holding = Math.floor(Math.random() * 2 ** 48);
    sendHold(holding);
  },
  async setRight() {
    told(await api.table());
  },
  start: (what) => {
    if (what) ask({ kind: what });
  },
  nextChecks() {
    const { page, pages } = checks(store.get());
    dispatch({ type: "checks", page: (page + 1) % pages });
  },
  backFromChecks() {
    const { page } = checks(store.get());
    if (page > 0) dispatch({ type: "checks", page: page - 1 });
    else ask({ kind: "unload" });
  },
  stepBack(by) {
    const state = store.get();
    const on = wayOn(state);
    if (on) dispatch({ type: "back", mm: (state.from?.back ?? on.back) + by, least: 0, most: on.at });
  },
  async handMove(what) {
    const result = await api.ask(store.get().view.generation, what);
    return result.tag === "done" || told(result);
  },
  handStop: () => api.ask(store.get().view.generation, { kind: "hand-stop" }),
  proof: (proof) => dispatch({ type: "proof", proof }),
  step: () => dispatch({ type: "step" }),
  way: (way) => dispatch({ type: "way", way }),
  moreWays: (pages) => dispatch({ type: "more-ways", pages }),
  weigh(plan, reason) {
    dispatch({ type: "weigh", plan, reason });
    if (weighing(store.get())?.open === 0) dispatch({ type: "page", page: "go" });
  },
  swap: (what) => dispatch({ type: "swap", ...what }),
  ready(kind) {
    if (can(store.get(), kind)) dispatch({ type: "ready", now: now() });
  },
  async resume() {
    const { view } = store.get();
    const on = wayOn(store.get());
    if (on?.plan) told(await api.resume(view.generation, on.plan.id, on.back, weighing(store.get()).reason));
  },
  confirmed(use) {
    if (use === "start") ask({ kind: "start" });
    if (use === "skip") ask({ kind: "skip-cut" });
    if (use === "end") ask({ kind: "end-job" });
    if (use === "leave") ask({ kind: "clear", cause: "interrupted" }).then(() => actions.page(null));
    if (use === "clear") {
      const next = nextAct(store.get());
      if (next?.act === "clear") ask({ kind: "clear", cause: next.alarm.cause }).then(() => actions.page(null));
    }
  },
  act(next) {
    if (next?.act === "seen") ask({ kind: "seen", cause: next.alarm.cause });
    if (next?.act === "confirm-place") ask({ kind: "confirm-place" });
    if (next?.act === "vouch") ask({ kind: "vouch", check: next.check, yes: true });
    if (next?.act === "clear") {
      if (next.alarm.level === "danger") dispatch({ type: "page", page: "clear" });
      else ask({ kind: "clear", cause: next.alarm.cause });
    }
  },
  seenOrClear() {
    const list = alarms(store.get());
    const unseen = list.find((a) => !a.seen);
    const clearable = list.find((a) => a.latched && a.gone);
    if (unseen) ask({ kind: "seen", cause: unseen.cause });
    else if (clearable?.level === "danger") dispatch({ type: "page", page: "clear" });
    else if (clearable) ask({ kind: "clear", cause: clearable.cause });
  },
  async load() {
    const state = store.get();
    const r = report(state);
    if (r?.loads) told(await api.load(state.view.generation, r.read.id, r.read.version, r.accepted, state.pauses));
  },
  fetchPrograms: () => once("programs", async () => {
    const result = await api.programs();
    if (result.tag === "done") dispatch({ type: "programs", list: result.answer.programs });
    else dispatch({ type: "programs", trouble: "The list cannot be had now." });
  }),
  fetchProgram: (id) => once(`program ${id}`, async () => {
    const result = await api.program(id);
    if (result.tag === "done") dispatch({ type: "read", id, program: result.answer });
    else if (result.tag === "refused") dispatch({ type: "read", id, program: { trouble: `${result.says} ${result.remedy}` } });
  }),
  fetchEvents() {
    const wanted = eventsWanted(store.get());
    const of = JSON.stringify(wanted);
    return once(`events ${of}`, async () => {
      const result = await api.events(wanted);
      if (result.tag === "done") dispatch({ type: "events", of, list: result.answer.events });
      else dispatch({ type: "events", of, trouble: result.says ?? "The record cannot be had now." });
    });
  },
  fetchRuns: () => once("runs", async () => {
    const result = await api.runs();
    if (result.tag === "done") dispatch({ type: "runs", list: result.answer.runs });
    else dispatch({ type: "runs", trouble: result.says ?? "The runs cannot be had now." });
  }),
  fetchStop: (generation) => once(`stop ${generation}`, async () => {
    const result = await api.stop();
    if (result.tag === "done") dispatch({ type: "stop", stop: { ...result.answer, asked: now() } });
  }),
  /** Looks at another part of the record; `page`: on another page. */
  seek({ page = null, ...by }) {
    dispatch({ type: "seek", by });
    if (page) dispatch({ type: "page", page });
    actions.fetchRuns();
    actions.fetchEvents();
  },
  openRun: (run) => actions.seek({ run, page: "run" }),
  /** `key`: of the fault; `null`: the latest. `run`: it is looked for among those of one run. */
  openFault: (key, run = store.get().seek.run) => actions.seek({ fault: key, of: run, page: "curves" }),
  /** How things stood at a moment, for the plate of a fault. Only while nothing goes on, as a replay. */
  fetchInstant: (key, start, us) => once(`instant ${key}`, async () => {
    const shown = await momentAt(start, us, () => pageOf(store.get()) === "curves");
    if (shown) dispatch({ type: "instant", instant: { key, ...shown } });
    else dispatch({ type: "instant", instant: { key, view: null, job: null } });
  }),
  /** Shows a run again, from a moment of a start on; `null`: from its beginning. */
  replayRun: (run, moment) => once("replay", async () => {
    const { view } = store.get();
    const over = { generation: view.generation, phase: view.phase };
    const result = await api.replay(run);
    if (!told(result)) return;
    const { parts } = result.answer;
    const first = parts.find((p) => p.kept);
    if (!first) {
      dispatch({ type: "said", says: "No recording of this run is kept.", remedy: "What happened can still be read." });
      return;
    }
    const at = moment ?? { start: first.start, us: first.from_us };
    const shown = await momentAt(at.start, at.us, () => true);
    if (shown) dispatch({ type: "replay", replay: { run, parts, over, playing: false, ...shown } });
    else dispatch({ type: "said", says: "The recording cannot be shown.", remedy: "Look at it with standclear replay." });
  }),
  async replayMove(by_s) {
    const { replay } = store.get();
    if (replay) await goTo(moved(replay, by_s), false);
  },
  replayPlay() {
    const { replay } = store.get();
    if (replay) dispatch({ type: "replay", replay: { playing: !replay.playing && !atEnd(replay) } });
  },
  replayLeave: () => dispatch({ type: "replay", replay: null }),
  fetchTrace: (name) => once(`trace ${name}`, async () => {
    const result = await api.trace(name);
    if (result.tag === "done") dispatch({ type: "trace", name, curves: result.answer });
    else dispatch({ type: "trace", name, trouble: result.says ?? "The curves cannot be had now." });
  }),
  /** What is set; "elsewhere" on a screen that is not the console; `null` where the panel does not say. */
  async askPin() {
    const result = await api.pin();
    if (result.tag === "refused" && result.field === "seat") return "elsewhere";
    return told(result) ? result.answer : null;
  },
  setPin: async (pin) => told(await api.setPin(pin)),
  givePin: async (pin) => told(await api.givePin(pin)),
  /** A program and the setup beside it, as files. Gives the program's name, or "there" where one is. */
  async sendProgram(files, replace) {
    const setup = files.find((f) => f.name.toLowerCase().endsWith(".toml"));
    const program = files.find((f) => f !== setup);
    if (!program || files.length > (setup ? 2 : 1)) {
      dispatch({ type: "said", says: "No program is chosen, or more than one.", remedy: "Choose one program, and the setup beside it." });
      return null;
    }
    let replaces = null;
    if (replace) {
      const there = await api.program(`own/${program.name}`);
      if (!told(there)) return null;
      replaces = there.answer.version;
    }
    const result = await api.sendProgram(program.name, await program.text(), setup ? await setup.text() : null, replaces);
    if (result.tag === "refused" && result.field === "replaces" && !replace) return "there";
    return told(result) ? program.name : null;
  },
  pxPerMm: () => Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm")),
  setPxPerMm(px) {
    const held = Math.min(12, Math.max(2.5, px));
    document.documentElement.style.setProperty("--px-per-mm", held.toFixed(3));
    fitGlass();
    keep("px-per-mm", held.toFixed(3));
  },
  setTheme(name) {
    document.documentElement.dataset.theme = name;
    keep("theme", name);
  },
};

function keep(key, value) {
  try {
    localStorage.setItem(key, value);
  } catch {
    // A browser that keeps nothing works all the same.
  }
}

function kept(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

/** Mounts the page that is due, and takes the old one away. */
function followPages(root) {
  let shown = null;
  let ending = null;
  const said = mountSaid(actions, new AbortController().signal);
  const keys = el("div", { class: "replay-keys" });
  mountReplay(keys, store, actions, new AbortController().signal);
  let again = false;
  store.subscribe((state) => {
    const replays = state.replay !== null;
    const page = pageOf(shownState(state));
    if (page !== shown || replays !== again) {
      ending?.abort();
      ending = new AbortController();
      const fresh = el("div", { class: "page", "data-page": page, inert: replays });
      root.replaceChildren(fresh, said.node, keys);
      [shown, again] = [page, replays];
      pageChanged();
      document.body.dataset.page = page;
      setData(root, "replay", replays ? "" : null);
      queueMicrotask(() => PAGES[page](fresh, shownStore, replays ? nothing : actions, ending.signal));
    }
    said.draw(state.said, state, page);
    setData(root, "said", state.said ? "" : null);
  });
}

/** The drawing of the job on the table, the ways on and the record follow the machine. */
function followMachine() {
  let seal = null;
  let generation = null;
  let readAt = -Infinity;
  return () => {
    const { view, job } = store.get();
    if (!view) return;
    if (view.seal && view.seal !== job?.seal && view.seal !== seal) {
      seal = view.seal;
      const wanted = seal;
      once(`job ${wanted}`, async () => {
        const result = await api.job(wanted);
        if (result.tag === "done") dispatch({ type: "job", job: result.answer });
        else if (result.tag === "lost") seal = null;
      });
    }
    const back = waysWanted(store.get());
    if (back !== null) {
      once(`ways ${view.generation} ${back}`, async () => {
        const result = await api.ways(back);
        if (result.tag === "done") dispatch({ type: "ways", ways: result.answer });
      });
    }
    const stop = stopWanted(store.get(), now());
    if (stop !== null) actions.fetchStop(stop);
    const reads = RECORD.includes(pageOf(store.get()));
    // The curves of a stop are there ten seconds after it, when nothing else may have changed.
    if (reads && (view.generation !== generation || now() - readAt > READ_AGAIN_MS)) {
      readAt = now();
      actions.fetchEvents();
    }
    generation = view.generation;
  };
}

function begin() {
  document.documentElement.dataset.theme = kept("theme") ?? "day";
  const px = Number.parseFloat(kept("px-per-mm") ?? "");
  if (px > 0) document.documentElement.style.setProperty("--px-per-mm", String(px));
  fitGlass();
  window.addEventListener("resize", () => {
    fitGlass();
    dispatch({ type: "tick", now: now() });
  });
  watchFingers();
  const forever = new AbortController().signal;
  mountHold(document.getElementById("hold"), store, actions, forever);
  mountBand(document.getElementById("band"), document.getElementById("strip"), shownStore, forever);
  followPages(document.getElementById("middle"));
  const follow = followMachine();
  listen("/api/watch", {
    told(message) {
      if (message.kind === "dropped") return;
      const view = message.kind === "snapshot" ? message.view : applied(store.get().view, message);
      dispatch({ type: "told", view, table: message.table, n: message.n, at_s: message.at_s, now: now() });
      follow();
    },
    trouble: (why) => dispatch({ type: "trouble", why }),
  });
  setInterval(() => dispatch({ type: "tick", now: now() }), TICK_MS);
  setInterval(playOn(), PLAY_MS);
  // Any other touch takes Make ready back.
  document.addEventListener("pointerdown", (e) => {
    if (store.get().readyAt !== null && !e.target.closest?.(".second-step, .first-step")) dispatch({ type: "unready" });
  });
  // Fonts arrive after the first drawing; canvases are drawn again with them.
  document.fonts?.ready.then(() => dispatch({ type: "tick", now: now() }));
}

begin();
