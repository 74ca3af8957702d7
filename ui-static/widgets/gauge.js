// A value on an engraved rule: what it should be is the long stroke in the middle, what it is a
// pointer over it. Beyond the rule's ends the pointer stands at the end, hollow.

import { el } from "../lib/dom.js";
import { FONT, colours, fitCanvas, glass, letters } from "./ink.js";

/** Strokes to each side of the middle. */
const STROKES = 10;

/** @param {number} aside  how far the rule reaches to each side, in the value's unit */
export function gauge(aside) {
  const canvas = el("canvas", { class: "gauge-rule", "aria-hidden": "true" });
  const drawIn = fitCanvas(canvas);
  return {
    node: canvas,
    /** `null`: not known. */
    draw(value, target) {
      drawIn((c, w, h) => {
        const ink = colours();
        const px = glass();
        const base = h - letters() * 0.74 - px * 0.8;
        const [left, right] = [px, w - px];
        const middle = (left + right) / 2;
        const at = (part) => middle + ((right - left) / 2) * part;
        c.strokeStyle = ink.ink;
        c.fillStyle = ink.ink;
        c.lineWidth = 1;
        c.beginPath();
        c.moveTo(left, base);
        c.lineTo(right, base);
        for (let k = -STROKES; k <= STROKES; k += 1) {
          const long = k === 0 ? 2.6 : k % 5 === 0 ? 1.6 : 0.9;
          c.moveTo(at(k / STROKES), base);
          c.lineTo(at(k / STROKES), base - long * px);
        }
        c.stroke();
        if (target === null) return;
        c.font = `500 ${letters()}px ${FONT}`;
        c.textBaseline = "alphabetic";
        for (const [part, align] of [[-1, "left"], [0, "center"], [1, "right"]]) {
          c.textAlign = align;
          c.fillText(String(Math.round(target + part * aside)), part === 0 ? middle : part < 0 ? 0 : w, h - 1);
        }
        if (value === null) return;
        const off = (value - target) / aside;
        const x = at(Math.max(-1, Math.min(1, off)));
        c.beginPath();
        c.moveTo(x, base - 1);
        c.lineTo(x - 1.5 * px, base - 4 * px);
        c.lineTo(x + 1.5 * px, base - 4 * px);
        c.closePath();
        if (Math.abs(off) > 1) {
          c.lineWidth = 2;
          c.stroke();
        } else {
          c.fill();
        }
      });
    },
  };
}
