// The cut-order strip: a cell per cut; hollow to come, a core now, black done, struck skipped, a
// flag where the arc was lost.

import { el } from "../lib/dom.js";
import { colours, fitCanvas } from "./ink.js";

export function cutStrip() {
  const canvas = el("canvas", { class: "cut-strip", "aria-hidden": "true" });
  const drawIn = fitCanvas(canvas);
  return {
    node: canvas,
    draw(view) {
      drawIn((c, w, h) => {
        const ink = colours();
        const n = view.cuts.length;
        if (n === 0) return;
        const lost = new Set(view.marks.filter((m) => m.cause !== "hold").map((m) => m.cut - 1));
        const cell = Math.min(w / n, h * 1.1);
        const gap = cell > 8 ? 3 : 0;
        c.lineWidth = cell > 8 ? 2 : 1;
        c.strokeStyle = ink.ink;
        for (let k = 0; k < n; k += 1) {
          const x = k * cell + 1;
          const width = Math.max(1, cell - gap - 1);
          const { state } = view.cuts[k];
          c.fillStyle = state === "done" ? ink.slot : ink.chalk;
          c.fillRect(x, 4, width, h - 8);
          if (cell > 5) c.strokeRect(x, 4, width, h - 8);
          if (state === "now") {
            c.fillStyle = ink.slot;
            c.fillRect(x + width / 4, 4 + (h - 8) / 4, width / 2, (h - 8) / 2);
          }
          if (state === "skipped") {
            c.beginPath();
            c.moveTo(x, h - 4);
            c.lineTo(x + width, 4);
            c.stroke();
          }
          if (lost.has(k)) {
            c.fillStyle = ink.amber;
            c.beginPath();
            c.moveTo(x + width / 2 - 7, 0);
            c.lineTo(x + width / 2 + 7, 0);
            c.lineTo(x + width / 2, 12);
            c.closePath();
            c.fill();
            c.stroke();
          }
        }
      });
    },
  };
}
