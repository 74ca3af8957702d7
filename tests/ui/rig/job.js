// A job to be looked at: the two squares that the views of the stops speak of, and parts about them.
// Invented data.

import { twoSquares } from "./glass.js";

/** A path of places, with mm along. */
function path(places) {
  let along = 0;
  const points = places.map(([x, y], k) => {
    if (k > 0) along += Math.hypot(x - places[k - 1][0], y - places[k - 1][1]);
    return [x, y, along];
  });
  return { pierce: places[0], length_mm: along, points };
}
const round = (x, y, r, lead) => path([[x + r - lead, y], ...Array.from({ length: 49 }, (_, k) => [x + r * Math.cos((k * Math.PI) / 24), y + r * Math.sin((k * Math.PI) / 24)])]);

/** The job of the pictures: the two squares that the stops speak of, and parts about them. */
export function manyParts() {
  const job = twoSquares("Hinge plates");
  const { cuts } = job.drawing;
  for (const [x, y] of [[40, 45], [40, 135], [40, 225]]) {
    for (const [dx, dy] of [[0, 0]]) cuts.push(round(x + dx, y + dy, 9, 4));
    cuts.push(round(x, y, 26, -4));
  }
  for (const x of [118, 190, 262]) {
    cuts.push(round(x, 225, 7, 3), path([[x - 30, 190], [x - 26, 190], [x + 28, 190], [x + 28, 226], [x + 12, 262], [x - 12, 262], [x - 26, 226], [x - 26, 190]]));
  }
  cuts.push(round(345, 60, 30, -4), round(345, 150, 30, -4));
  return job;
}
