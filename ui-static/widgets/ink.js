// Drawing on a canvas in the page's own colours and millimetres.

const NAMES = {
  ground: "--ground", pane: "--pane", ink: "--ink", ink2: "--ink-2", rule: "--rule", plate: "--plate",
  slot: "--slot", chalk: "--chalk", arc: "--arc", amber: "--amber", amberWord: "--amber-word",
  danger: "--danger", dangerWord: "--danger-word", move: "--move",
};

let read = null;
let theme = null;

/** The palette in force. */
export function colours() {
  const now = document.documentElement.dataset.theme ?? "day";
  if (read && theme === now) return read;
  const style = getComputedStyle(document.documentElement);
  read = Object.fromEntries(Object.entries(NAMES).map(([key, name]) => [key, style.getPropertyValue(name).trim()]));
  theme = now;
  return read;
}

/** Pixels of a millimetre on the glass. */
export function glass() {
  return Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm")) || 6;
}

/** The least height of letters that can be read at the glass, px: capitals of 2.8 mm. */
export function letters() {
  return Math.round(glass() * 4.25);
}

export const FONT = '"Hyperlegible Next", "DejaVu Sans", sans-serif';

/**
 * Keeps a canvas as large as its box, in real pixels. Gives a function that clears it and draws.
 * @param {HTMLCanvasElement} canvas
 */
export function fitCanvas(canvas) {
  const context = canvas.getContext("2d");
  return (draw) => {
    const ratio = window.devicePixelRatio || 1;
    const [w, h] = [canvas.clientWidth, canvas.clientHeight];
    if (w === 0 || h === 0) return;
    const [pw, ph] = [Math.round(w * ratio), Math.round(h * ratio)];
    if (canvas.width !== pw || canvas.height !== ph) {
      canvas.width = pw;
      canvas.height = ph;
    }
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, w, h);
    context.setLineDash([]);
    context.globalAlpha = 1;
    draw(context, w, h);
  };
}

/** Strokes one path of places. */
export function trace(c, places, at) {
  if (places.length < 2) return;
  c.beginPath();
  for (const [k, p] of places.entries()) {
    const [x, y] = at(p);
    if (k === 0) c.moveTo(x, y);
    else c.lineTo(x, y);
  }
}

/**
 * A numbered flag on a leader. `look`: amber, danger or note. `away`: something on the canvas that
 * it must not cover.
 */
export function flag(c, x, y, number, look, solid, room, away = null) {
  const ink = colours();
  const size = 30;
  // Above where there is room, else below, else beside.
  const above = y - 62 >= room.top;
  const below = y + 62 <= room.bottom;
  const up = away && away[1] < y ? (below ? 1 : 0) : above ? -1 : below ? 1 : 0;
  const right = x + 84 > room.right || (away && away[0] > x && x - 84 >= room.left) ? -1 : 1;
  const [fx, fy] = [x + right * (up === 0 ? 44 : 26), y + up * 46];
  c.setLineDash([]);
  c.strokeStyle = ink.chalk;
  c.lineWidth = 6;
  c.beginPath();
  c.moveTo(x, y);
  c.lineTo(fx, fy);
  c.stroke();
  c.strokeStyle = ink.slot;
  c.lineWidth = 3;
  c.stroke();
  const fill = { amber: ink.amber, danger: ink.danger, note: ink.chalk }[look];
  const word = { amber: ink.amberWord, danger: ink.dangerWord, note: ink.slot }[look];
  c.fillStyle = solid ? fill : ink.chalk;
  c.strokeStyle = ink.slot;
  c.lineWidth = 4;
  const left = right > 0 ? fx : fx - size - 8;
  c.beginPath();
  c.rect(left, fy - size / 2, size + 8, size);
  c.stroke();
  c.fill();
  c.fillStyle = solid ? word : ink.slot;
  c.font = `700 ${letters()}px ${FONT}`;
  c.textAlign = "center";
  c.textBaseline = "middle";
  c.fillText(String(number), left + size / 2 + 4, fy + 1);
}
