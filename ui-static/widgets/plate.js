// The marked plate: pale is to come, black is gone. Drawn as seen from the console: the near edge
// at the bottom, never mirrored. What does not change while a cut runs is drawn once and kept. Each
// layer has its file beside this one.

import { el } from "../lib/dom.js";
import { loop } from "../lib/path.js";
import { fitCanvas } from "./ink.js";
import { slotWidth, viewOf } from "./plate/geometry.js";
import { clipTo, drawSheet, dropped } from "./plate/ground.js";
import { drawAlong, drawFlags, drawStopped, drawYou } from "./plate/marks.js";
import { drawCut } from "./plate/paths.js";
import { drawScales } from "./plate/scales.js";
import { drawTorch } from "./plate/torch.js";
import { drawEntries } from "./way-on.js";

const TO_DO = { state: "to-do", done: [] };
const NOTHING = { cuts: [], marks: [], flags: [], entries: [], focus: null, start: null, stop: null, way: null };

/** What a cut encloses, found once. */
const loops = new WeakMap();
function enclosed(cut, kerf) {
  if (!loops.has(cut)) loops.set(cut, loop(cut.points, Math.max(kerf ?? 0, 1)));
  return loops.get(cut);
}

const theme = () => document.documentElement.dataset.theme;

/** Whether what was kept is no longer true. A cut in progress is drawn over it. */
function stale(kept, model, w, h) {
  if (!kept || kept.w !== w || kept.h !== h || kept.drawing !== model.drawing) return true;
  if (kept.theme !== theme()) return true;
  if (kept.focus !== JSON.stringify(model.focus ?? null)) return true;
  if (kept.entries !== model.entries.length) return true;
  if (kept.cuts === model.cuts) return false;
  if (kept.cuts.length !== model.cuts.length) return true;
  return model.cuts.some((cut, k) => cut !== kept.cuts[k] && !(cut.state === "now" && kept.cuts[k].state === "now"));
}

/** The layer that is kept: the sheet, what has dropped out, every cut but the one in hand, the scales. */
function drawStill(c, v, model) {
  const { drawing, cuts } = model;
  c.save();
  clipTo(c, v);
  drawSheet(c, v, drawing);
  if (model.loose) for (const outline of drawing.loose ?? []) dropped(c, v, outline);
  for (const [k, cut] of drawing.cuts.entries()) {
    if (cuts[k]?.state !== "done") continue;
    const places = enclosed(cut, drawing.kerf_mm);
    if (places) dropped(c, v, places);
  }
  drawEntries(c, v, model.entries, slotWidth(v));
  for (const [k, cut] of drawing.cuts.entries()) {
    const state = cuts[k] ?? TO_DO;
    if (state.state !== "now") drawCut(c, v, cut, state, false);
  }
  c.restore();
  if (v.scales) drawScales(c, v, drawing.corner);
}

/** What changes while a cut runs: the cut in hand, the marks, the torch. */
function drawLive(c, v, model, stopped, done) {
  c.save();
  clipTo(c, v);
  for (const [k, state] of model.cuts.entries()) {
    const cut = model.drawing.cuts[k];
    if (state.state === "now" && cut && cut !== stopped) drawCut(c, v, cut, state, true);
  }
  if (stopped) drawStopped(c, v, stopped, done, model.stop.lost);
  drawAlong(c, v, model, stopped);
  if (model.torch) drawTorch(c, v, model.torch, model.fresh ?? "live");
  c.restore();
  drawFlags(c, v, model);
}

/**
 * @param {{ scales?: boolean, you?: boolean, plain?: boolean }} [given]  `plain`: the shapes alone
 */
export function plate(given = {}) {
  const how = { scales: true, you: true, plain: false, ...given };
  const canvas = el("canvas", { class: "plate", role: "img", "aria-label": "the sheet as seen from the console" });
  const drawIn = fitCanvas(canvas);
  const still = document.createElement("canvas");
  let kept = null;

  function keep(model, v, w, h) {
    const ratio = window.devicePixelRatio || 1;
    still.width = Math.round(w * ratio);
    still.height = Math.round(h * ratio);
    const c = still.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    drawStill(c, v, model);
    const { drawing, cuts, entries, focus } = model;
    kept = { w, h, drawing, cuts, entries: entries.length, focus: JSON.stringify(focus), theme: theme() };
  }

  return {
    node: canvas,
    /**
     * @param {{ drawing: any, cuts?: any[], marks?: any[], torch?: any, fresh?: string,
     *   flags?: { at: number[], number: number, look: string, solid: boolean }[],
     *   focus?: { at: number[], zoom?: number, half_mm?: number[] } | null, start?: number[] | null,
     *   loose?: boolean, entries?: any[], way?: any,
     *   stop?: { cut: number, lost: any, ran_on: number[] | null } | null }} told
     *   `loose`: marks what is loose in the end; `entries`: ways in that were burnt; `stop`: draws
     *   that cut (from 0) in three tones; `way`: the way on from there
     */
    draw(told) {
      const model = { ...NOTHING, ...told };
      const stopped = model.stop ? model.drawing.cuts[model.stop.cut] : null;
      const done = stopped ? model.cuts[model.stop.cut]?.done ?? [] : [];
      // What is drawn in three tones is not drawn before in two.
      if (stopped) model.cuts = model.cuts.map((cut, k) => (k === model.stop.cut ? { state: "now", done: cut.done } : cut));
      drawIn((c, w, h) => {
        const v = viewOf(how, model, w, h);
        if (stale(kept, model, w, h)) keep(model, v, w, h);
        c.save();
        c.setTransform(1, 0, 0, 1, 0, 0);
        c.drawImage(still, 0, 0);
        c.restore();
        drawLive(c, v, model, stopped, done);
        if (how.you) drawYou(c, v);
      });
    },
  };
}
