// The marked plate: pale is to come, black is gone. Drawn as seen from the console: the near edge
// at the bottom, never mirrored. What does not change while a cut runs is drawn once and kept.

import { el } from "../lib/dom.js";
import { bounds, left, loop, pointAt, slice } from "../lib/path.js";
import { FONT, colours, fitCanvas, flag, glass, letters, trace } from "./ink.js";
import { drawBracket, drawEntries, drawRunOn, drawTones, drawWay } from "./way-on.js";

const MARGIN = { left: 72, top: 34, right: 14, bottom: 34 };
const BARE = { left: 6, top: 6, right: 6, bottom: 30 };

/**
 * @param {{ scales?: boolean, you?: boolean, plain?: boolean }} [how]  `plain`: the shapes alone
 */
export function plate(how = {}) {
  const { scales = true, you = true, plain = false } = how;
  const canvas = el("canvas", { class: "plate", role: "img", "aria-label": "the sheet as seen from the console" });
  const drawIn = fitCanvas(canvas);
  const still = document.createElement("canvas");
  let kept = null;
  const loops = new WeakMap();

  const small = !scales;

  /** Where a place of the sheet lies on the canvas. */
  function view(model, w, h) {
    const { drawing, focus } = model;
    const box = bounds(drawing.cuts) ?? [0, 0, 100, 100];
    const sheet = drawing.sheet ? [0, 0, drawing.sheet[0], drawing.sheet[1]] : box;
    const pad = scales ? MARGIN : { ...BARE, bottom: you ? BARE.bottom : 6 };
    const room = { left: pad.left, top: pad.top, right: w - pad.right, bottom: h - pad.bottom };
    const fit = Math.min((room.right - room.left) / (sheet[2] - sheet[0]), (room.bottom - room.top) / (sheet[3] - sheet[1]));
    const scale = focus?.half_mm
      ? Math.min((room.right - room.left) / focus.half_mm[0], (room.bottom - room.top) / focus.half_mm[1]) / 2
      : focus ? Math.max(fit * focus.zoom, 1.2) : fit;
    const middle = focus ? focus.at : [(sheet[0] + sheet[2]) / 2, (sheet[1] + sheet[3]) / 2];
    const centre = [(room.left + room.right) / 2, (room.top + room.bottom) / 2];
    return {
      sheet,
      scale,
      room,
      at: ([x, y]) => [centre[0] + (x - middle[0]) * scale, centre[1] - (y - middle[1]) * scale],
    };
  }

  function enclosed(cut, kerf) {
    if (!loops.has(cut)) loops.set(cut, loop(cut.points, Math.max(kerf ?? 0, 1)));
    return loops.get(cut);
  }

  function drawSheet(c, v, drawing) {
    const ink = colours();
    const [x0, y1] = v.at([v.sheet[0], v.sheet[1]]);
    const [x1, y0] = v.at([v.sheet[2], v.sheet[3]]);
    c.fillStyle = ink.plate;
    c.fillRect(x0, y0, x1 - x0, y1 - y0);
    for (const area of drawing.used) {
      c.fillStyle = ink.slot;
      trace(c, [...area, area[0]], v.at);
      c.fill();
    }
    c.strokeStyle = ink.ink;
    c.lineWidth = 2;
    c.setLineDash(drawing.sheet ? [] : [8, 6]);
    c.strokeRect(x0, y0, x1 - x0, y1 - y0);
    c.setLineDash([]);
    const boxes = drawing.keepouts.map(([low, size]) => [low, size, ""]);
    if (drawing.clamp) {
      const [cx, cy] = drawing.clamp;
      boxes.push([[cx - 15, cy - 10], [30, 20], "clamp"]);
    }
    for (const [low, size, word] of boxes) crossed(c, v, low, size, word);
  }

  function crossed(c, v, low, size, word) {
    const ink = colours();
    const [x0, y1] = v.at(low);
    const [x1, y0] = v.at([low[0] + size[0], low[1] + size[1]]);
    c.save();
    c.beginPath();
    c.rect(x0, y0, x1 - x0, y1 - y0);
    c.fillStyle = ink.chalk;
    c.fill();
    c.clip();
    c.strokeStyle = ink.slot;
    c.lineWidth = 1.5;
    c.beginPath();
    for (let d = -(y1 - y0); d < x1 - x0; d += 7) {
      c.moveTo(x0 + d, y1);
      c.lineTo(x0 + d + (y1 - y0), y0);
      c.moveTo(x0 + d, y0);
      c.lineTo(x0 + d + (y1 - y0), y1);
    }
    c.stroke();
    c.restore();
    c.strokeStyle = ink.slot;
    c.lineWidth = 3;
    c.strokeRect(x0, y0, x1 - x0, y1 - y0);
    if (word && !small) {
      c.font = `600 ${letters()}px ${FONT}`;
      c.textAlign = "center";
      c.textBaseline = "top";
      c.fillStyle = ink.slot;
      c.strokeStyle = ink.chalk;
      c.lineWidth = 4;
      c.strokeText(word, (x0 + x1) / 2, y1 + 3);
      c.fillText(word, (x0 + x1) / 2, y1 + 3);
    }
  }

  function drawScales(c, v, corner) {
    const ink = colours();
    const steps = [10, 50, 100, 200, 500, 1000];
    const tick = steps.find((s) => s * v.scale >= 7) ?? 1000;
    const label = steps.find((s) => s * v.scale >= 90) ?? 1000;
    c.strokeStyle = ink.ink;
    c.fillStyle = ink.ink;
    c.lineWidth = 1;
    c.font = `500 ${letters()}px ${FONT}`;
    const ends = [[v.sheet[0], v.sheet[2]], [v.sheet[1], v.sheet[3]]];
    for (const axis of [0, 1]) {
      const from = Math.ceil((ends[axis][0] + corner[axis]) / tick) * tick;
      for (let m = from; m <= ends[axis][1] + corner[axis] + 1e-6; m += tick) {
        const [x, y] = v.at(axis === 0 ? [m - corner[0], v.sheet[3]] : [v.sheet[0], m - corner[1]]);
        const long = m % 100 === 0 ? 12 : m % 50 === 0 ? 9 : 5;
        c.beginPath();
        if (axis === 0) {
          if (x < v.room.left - 1 || x > v.room.right + 1) continue;
          c.moveTo(x, v.room.top - 3);
          c.lineTo(x, v.room.top - 3 - long);
        } else {
          if (y < v.room.top - 1 || y > v.room.bottom + 1) continue;
          c.moveTo(edge(v) - 3, y);
          c.lineTo(edge(v) - 3 - long, y);
        }
        c.stroke();
        if (m % label !== 0) continue;
        if (axis === 0) {
          c.textAlign = "center";
          c.textBaseline = "bottom";
          c.fillText(String(m), x, v.room.top - 12);
        } else {
          c.textAlign = "right";
          c.textBaseline = "middle";
          c.fillText(String(m), edge(v) - 16, y);
        }
      }
    }
  }

  /** The sheet's left side, where the upright scale stands. */
  function edge(v) {
    return Math.max(v.room.left, Math.min(v.at([v.sheet[0], 0])[0], v.room.right));
  }

  function slotWidth(v, kerf) {
    return Math.max(5, (kerf ?? 0) * v.scale);
  }

  function drawCut(c, v, cut, state, kerf, many, thick) {
    const ink = colours();
    const done = state.state === "done" ? [[0, cut.length_mm]] : state.done;
    const line = (places, colour, width, dash = []) => {
      trace(c, places, v.at);
      c.strokeStyle = colour;
      c.lineWidth = width;
      c.setLineDash(dash);
      c.stroke();
    };
    c.lineCap = "butt";
    c.lineJoin = "round";
    if (state.state === "skipped") {
      line(cut.points, ink.chalk, 3, [10, 8]);
      const at = pointAt(cut.points, cut.length_mm / 2);
      const [x, y] = v.at(at);
      c.setLineDash([]);
      c.beginPath();
      c.moveTo(x - 12, y + 12);
      c.lineTo(x + 12, y - 12);
      c.stroke();
    } else if (state.state !== "done") {
      const width = thick ? 7 : many ? 2 : 3;
      for (const [from, to] of left(done, cut.length_mm)) {
        const places = slice(cut.points, from, to);
        line(places, ink.chalk, width);
        if (thick) line(places, ink.slot, 2);
      }
    }
    for (const [from, to] of done) {
      const places = slice(cut.points, from, to);
      if (places.length > 1) line(places, ink.slot, slotWidth(v, kerf));
    }
    c.setLineDash([]);
    if (!plain) pierce(c, v, cut, state, many);
  }

  function pierce(c, v, cut, state, many) {
    const ink = colours();
    const [x, y] = v.at(cut.pierce);
    const gone = state.state === "done" || state.done.length > 0;
    const r = many ? 4 : 6;
    c.lineWidth = 2;
    c.strokeStyle = ink.chalk;
    c.beginPath();
    c.arc(x, y, r, 0, Math.PI * 2);
    if (gone) {
      c.fillStyle = ink.slot;
      c.fill();
      c.stroke();
      return;
    }
    c.stroke();
    if (many) return;
    c.beginPath();
    c.moveTo(x - r, y);
    c.lineTo(x + r, y);
    c.moveTo(x, y - r);
    c.lineTo(x, y + r);
    c.stroke();
  }

  function dropped(c, v, places) {
    const ink = colours();
    c.save();
    trace(c, places, v.at);
    c.closePath();
    c.clip();
    const xs = places.map((p) => v.at(p)[0]);
    const ys = places.map((p) => v.at(p)[1]);
    const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    c.strokeStyle = ink.slot;
    c.lineWidth = 1.5;
    c.beginPath();
    for (let d = -(y1 - y0); d < x1 - x0; d += 8) {
      c.moveTo(x0 + d, y1);
      c.lineTo(x0 + d + (y1 - y0), y0);
    }
    c.stroke();
    c.restore();
  }

  const toDo = { state: "to-do", done: [] };

  function drawStill(model, w, h) {
    const ratio = window.devicePixelRatio || 1;
    still.width = Math.round(w * ratio);
    still.height = Math.round(h * ratio);
    const c = still.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    const { drawing, cuts } = model;
    const v = view(model, w, h);
    c.save();
    clipTo(c, v, model.focus);
    drawSheet(c, v, drawing);
    const many = drawing.cuts.length > 60 || (small && !model.focus);
    if (model.loose) for (const outline of drawing.loose ?? []) dropped(c, v, outline);
    for (const [k, cut] of drawing.cuts.entries()) {
      if (cuts[k]?.state !== "done") continue;
      const places = enclosed(cut, drawing.kerf_mm);
      if (places) dropped(c, v, places);
    }
    drawEntries(c, v, model.entries, slotWidth(v, drawing.kerf_mm));
    for (const [k, cut] of drawing.cuts.entries()) {
      const state = cuts[k] ?? toDo;
      if (state.state !== "now") drawCut(c, v, cut, state, drawing.kerf_mm, many, false);
    }
    c.restore();
    if (scales) drawScales(c, v, drawing.corner);
  }

  /** A picture of a part of the sheet ends at its frame. */
  function clipTo(c, v, focus) {
    if (!focus) return;
    const { left: x, top: y, right, bottom } = v.room;
    c.strokeStyle = colours().ink;
    c.lineWidth = 3;
    c.strokeRect(x, y, right - x, bottom - y);
    c.beginPath();
    c.rect(x, y, right - x, bottom - y);
    c.clip();
  }

  /** Whether what was kept is still true. A cut in progress is drawn over it. */
  function stale(model, w, h) {
    if (!kept || kept.w !== w || kept.h !== h || kept.drawing !== model.drawing) return true;
    if (kept.theme !== document.documentElement.dataset.theme) return true;
    if (kept.focus !== JSON.stringify(model.focus ?? null)) return true;
    if (kept.entries !== model.entries.length) return true;
    if (kept.cuts === model.cuts) return false;
    if (kept.cuts.length !== model.cuts.length) return true;
    return model.cuts.some((cut, k) => cut !== kept.cuts[k] && !(cut.state === "now" && kept.cuts[k].state === "now"));
  }

  function drawTorch(c, v, model) {
    const ink = colours();
    const { torch, fresh } = model;
    if (!torch?.place) return;
    const [x, y] = v.at(torch.place);
    const r = glass() * (small && !model.focus ? 2.4 : 5);
    // Parked beside the sheet it is off the picture: a hairline that crosses no sheet points nowhere.
    const [right] = v.at([v.sheet[2], 0]);
    const across = y >= v.room.top && y <= v.at([0, v.sheet[1]])[1];
    const along = x >= edge(v) && x <= right;
    if (!model.focus && !across && !along) return;
    if (scales) {
      for (const [colour, width] of [[ink.slot, 3], [ink.chalk, 1]]) {
        c.strokeStyle = colour;
        c.lineWidth = width;
        c.setLineDash(fresh === "live" ? [] : [12, 8]);
        c.beginPath();
        if (across) {
          c.moveTo(edge(v), y);
          c.lineTo(right, y);
        }
        if (along) {
          c.moveTo(x, v.room.top);
          c.lineTo(x, v.at([0, v.sheet[1]])[1]);
        }
        c.stroke();
      }
      c.setLineDash([]);
      c.fillStyle = ink.ink;
      c.beginPath();
      if (along) {
        c.moveTo(x, v.room.top - 1);
        c.lineTo(x - 8, v.room.top - 17);
        c.lineTo(x + 8, v.room.top - 17);
        c.closePath();
      }
      if (across) {
        c.moveTo(edge(v) - 1, y);
        c.lineTo(edge(v) - 17, y - 8);
        c.lineTo(edge(v) - 17, y + 8);
        c.closePath();
      }
      c.fill();
    }
    const ring = (radius, colour, width, from = 0, to = Math.PI * 2) => {
      c.beginPath();
      c.arc(x, y, radius, from, to);
      c.strokeStyle = colour;
      c.lineWidth = width;
      c.stroke();
    };
    const on = torch.arc === "on" && fresh === "live";
    if (on) {
      c.beginPath();
      c.arc(x, y, r - 6, 0, Math.PI * 2);
      c.fillStyle = ink.arc;
      c.fill();
      ring(r - 4, ink.chalk, 4);
      ring(r - 1, ink.slot, 3);
      return;
    }
    c.setLineDash(fresh === "live" ? [] : [10, 8]);
    const up = torch.height_mm !== null && torch.height_mm > 5;
    const [from, to] = up ? [-Math.PI / 4, Math.PI * 1.25] : [0, Math.PI * 2];
    ring(r - 4, ink.chalk, 8, from, to);
    ring(r - 4, ink.slot, 3, from, to);
    c.setLineDash([]);
    if (small && !model.focus) return;
    if (fresh === "live" && up) label(c, `up ${Math.round(torch.height_mm)}`, x + r + 4, y - r);
    if (fresh !== "live") label(c, "last seen", x + r + 4, y - r);
  }

  /** Whether a mark lies in the picture. */
  function inside(v, focus, x, y) {
    return !focus || (x > v.room.left && x < v.room.right && y > v.room.top && y < v.room.bottom);
  }

  function label(c, word, x, y) {
    const ink = colours();
    c.font = `600 ${letters()}px ${FONT}`;
    c.textAlign = "left";
    c.textBaseline = "middle";
    c.lineWidth = 6;
    c.strokeStyle = ink.chalk;
    c.strokeText(word, x, y);
    c.fillStyle = ink.slot;
    c.fillText(word, x, y);
  }

  function drawStart(c, v, start, large) {
    const ink = colours();
    const [x, y] = v.at(start);
    const r = large ? 16 : 8;
    c.lineWidth = large ? 8 : 6;
    c.strokeStyle = ink.chalk;
    c.beginPath();
    c.arc(x, y, r, 0, Math.PI * 2);
    c.moveTo(x - r * 1.6, y);
    c.lineTo(x + r * 1.6, y);
    c.moveTo(x, y - r * 1.6);
    c.lineTo(x, y + r * 1.6);
    c.stroke();
    c.lineWidth = large ? 4 : 3;
    c.strokeStyle = ink.slot;
    c.stroke();
  }

  function drawYou(c, v, w, h) {
    const ink = colours();
    const size = glass() * 3;
    const x = Math.min(w - 80, Math.max(20, (v.room.left + v.room.right) / 2));
    c.fillStyle = ink.ink;
    c.beginPath();
    c.moveTo(x, h - 28);
    c.lineTo(x + size, h - 6);
    c.lineTo(x + size - 8, h - 6);
    c.lineTo(x, h - 19);
    c.lineTo(x - size + 8, h - 6);
    c.lineTo(x - size, h - 6);
    c.closePath();
    c.fill();
    c.font = `500 ${letters()}px ${FONT}`;
    c.textAlign = "left";
    c.textBaseline = "middle";
    c.fillText("you", x + size + 8, h - 15);
  }

  return {
    node: canvas,
    /**
     * @param {{ drawing: any, cuts?: any[], marks?: any[], torch?: any, fresh?: string,
     *   flags?: { at: number[], number: number, look: string, solid: boolean }[],
     *   focus?: { at: number[], zoom?: number, half_mm?: number[] } | null, start?: number[] | null,
     *   loose?: boolean, entries?: any[], way?: any,
     *   stop?: { cut: number, lost: any, ran_on: number[] | null } | null }} model
     *   `loose`: marks what is loose in the end; `entries`: ways in that were burnt; `stop`: draws
     *   that cut (from 0) in three tones; `way`: the way on from there
     */
    draw(given) {
      const model = { cuts: [], marks: [], flags: [], entries: [], focus: null, start: null, stop: null, way: null, ...given };
      const stopped = model.stop && model.drawing.cuts[model.stop.cut];
      const doubt = stopped ? { done: model.cuts[model.stop.cut]?.done ?? [], lost: model.stop.lost } : null;
      // What is drawn in three tones is not drawn before in two.
      if (stopped) model.cuts = model.cuts.map((cut, k) => (k === model.stop.cut ? { state: "now", done: cut.done } : cut));
      drawIn((c, w, h) => {
        if (stale(model, w, h)) {
          drawStill(model, w, h);
          kept = {
            w, h, drawing: model.drawing, cuts: model.cuts,
            entries: model.entries.length, focus: JSON.stringify(model.focus), theme: document.documentElement.dataset.theme,
          };
        }
        c.save();
        c.setTransform(1, 0, 0, 1, 0, 0);
        c.drawImage(still, 0, 0);
        c.restore();
        const v = view(model, w, h);
        const many = model.drawing.cuts.length > 60 || small && !model.focus;
        c.save();
        clipTo(c, v, model.focus);
        for (const [k, state] of model.cuts.entries()) {
          if (state.state === "now" && model.drawing.cuts[k] && model.drawing.cuts[k] !== stopped) {
            drawCut(c, v, model.drawing.cuts[k], state, model.drawing.kerf_mm, many, true);
          }
        }
        const width = slotWidth(v, model.drawing.kerf_mm);
        if (stopped) {
          drawTones(c, v, stopped, doubt, width);
          pierce(c, v, stopped, { state: "now", done: doubt.done }, many);
        }
        if (model.focus) {
          for (const m of model.marks) {
            const cut = model.drawing.cuts[m.cut - 1];
            if (cut && m.between_mm) drawBracket(c, v, cut, m.between_mm, width);
          }
          if (stopped && model.stop.ran_on) drawRunOn(c, v, stopped, ...model.stop.ran_on);
        }
        if (stopped && model.way && model.focus) drawWay(c, v, stopped, model.way, model.stop.lost, width);
        else if (model.way) drawStart(c, v, model.way.fires, false);
        if (model.start) drawStart(c, v, model.start, Boolean(model.focus));
        if (model.torch) drawTorch(c, v, { torch: model.torch, fresh: model.fresh ?? "live", focus: model.focus });
        c.restore();
        for (const m of model.marks) {
          const [x, y] = v.at(m.place);
          if (!inside(v, model.focus, x, y)) continue;
          c.beginPath();
          c.arc(x, y, 9, 0, Math.PI * 2);
          c.lineWidth = 3;
          c.strokeStyle = colours().chalk;
          c.stroke();
          // A small picture has room for the ring alone: the number stands in the large one.
          const away = model.way?.entry.length > 0 && model.focus ? v.at(model.way.fires) : null;
          if (v.room.right - v.room.left > 140) flag(c, x, y, m.number, "amber", true, v.room, away);
        }
        for (const f of model.flags) flag(c, ...v.at(f.at), f.number, f.look, f.solid, v.room);
        if (you) drawYou(c, v, w, h);
      });
    },
  };
}
