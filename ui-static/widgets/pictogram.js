// Our own small pictures beside the words of places that are visited often: drawn as the plate is,
// chalk for what is to come, a slot for what is gone, on a square of metal.

const SVG = "http://www.w3.org/2000/svg";

/** Each on a field of 24 by 24. `p` is metal, `c` chalk, `s` slot, `l` the ink of the words. */
const DRAWN = {
  programs: [["p", "M2 3h20v18H2z"], ["c", "M6 16v-8h6l6 8z"]],
  setup: [["l", "M2 8h20v9H2z"], ["l", "M6 8v5M10 8v3M14 8v5M18 8v3"]],
  happened: [["p", "M2 3h20v18H2z"], ["s", "M5 17h6"], ["c", "M11 17h8"], ["l", "M11 17V7"], ["f", "M11 5h8v5h-8z"]],
  curves: [["p", "M2 3h20v18H2z"], ["c", "M4 8h7v8h9"], ["s", "M11 5v14"]],
  parts: [["l", "M8 2h8v7l-2.5 9h-3L8 9z"], ["s", "M12 2v10"], ["l", "M12 18v4"]],
  back: [["l", "M15 4 7 12l8 8"]],
  "go-on": [["p", "M2 3h20v18H2z"], ["s", "M2 12h8"], ["c", "M10 12h12M12 7v10"]],
  hand: [["p", "M2 3h20v18H2z"], ["c", "M12 5v14M5 12h14M9 8l3-3 3 3M9 16l3 3 3-3"]],
  leave: [["p", "M2 3h20v18H2z"], ["d", "M5 12h14"], ["c", "M8 17 16 7"]],
  end: [["p", "M2 3h20v18H2z"], ["s", "M5 12h9M14 7v10"]],
  unload: [["p", "M2 11h20v10H2z"], ["l", "M12 9V2M8 6l4-4 4 4"]],
  turn: [["l", "M9 4l8 8-8 8"]],
};

/** @param {keyof typeof DRAWN} name */
export function pictogram(name) {
  const node = document.createElementNS(SVG, "svg");
  node.setAttribute("viewBox", "0 0 24 24");
  node.setAttribute("class", "pictogram");
  node.setAttribute("aria-hidden", "true");
  for (const [look, d] of DRAWN[name]) {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("class", `in-${look}`);
    path.setAttribute("d", d);
    node.append(path);
  }
  return node;
}
