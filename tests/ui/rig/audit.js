// What must be true of every page, whatever it shows: sizes by the glass's own millimetre, HOLD in its
// place with nothing over it or within its gap, nothing cut off, covered, over one another, beside the
// glass, too small to read or shortened with dots.

import assert from "node:assert/strict";

/** A length may be a hair off by rounding to pixels, mm. */
const HAIR_MM = 0.2;
/** Height of a capital in the height of its font. */
const CAP = 0.668;

/** What the page shows, measured in the page itself. */
function measure() {
  const px = Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm"));
  const shown = (n) => n.getClientRects().length > 0 && getComputedStyle(n).visibility !== "hidden";
  const words = (n) => n.innerText.replaceAll("\n", " ").slice(0, 60);
  const plain = ({ x, y, width, height }) => ({ x, y, width, height });
  const box = (n) => ({ ...plain(n.getBoundingClientRect()), words: words(n) });
  const hold = document.querySelector(".hold");
  const found = [];
  const wrong = (what, n, more = "") => found.push(`${what}: "${typeof n === "string" ? n : words(n)}" ${more}`.trim());

  /** Every run of text that is shown: its element, its font and the rectangles of its lines. */
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const owner = node.parentElement;
    if (!node.textContent.trim() || owner.closest("script, noscript, style") || !shown(owner)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const font = Number.parseFloat(getComputedStyle(owner).fontSize);
    const lines = [...range.getClientRects()].filter((r) => r.width > 0.5).map((r) => ({
      x: r.x, width: r.width, middle: r.y + r.height / 2,
    }));
    if (lines.length > 0) texts.push({ node, owner, font, lines, says: node.textContent.trim().slice(0, 60) });
  }

  // A page of a text that turns: what stands on its other pages is reached by its own target.
  const pagers = [...document.querySelectorAll(".pager")].filter(shown);
  for (const p of pagers) {
    const turns = document.querySelector(`[data-turns="${p.dataset.pager}"]`);
    if (Number(p.dataset.pages) > 1 && !(turns && shown(turns))) wrong("a text goes on and nothing turns its page", p);
  }

  const middle = document.getElementById("middle").getBoundingClientRect();
  const glass = { left: 0, top: 0, right: innerWidth, bottom: innerHeight };
  for (const t of texts) {
    const pager = t.owner.closest(".pager");
    const room = t.owner.closest("#middle") ? { ...glass, top: middle.top, bottom: middle.bottom } : glass;
    const style = getComputedStyle(t.owner);
    if (t.font * 0.668 < 2.8 * px - 0.5) wrong("too small to read", t.says, `${(t.font * 0.668 / px).toFixed(2)} mm`);
    t.here = t.lines;
    if (pager) {
      const p = pager.getBoundingClientRect();
      t.here = t.lines.filter((l) => l.x + l.width > p.left + 1 && l.x < p.right - 1);
    }
    for (const line of t.here) {
      // Capitals alone reach less far down and up.
      const half = t.font * (/[a-z]/.test(t.node.textContent) ? 0.42 : 0.34);
      const [top, bottom] = [line.middle - half, line.middle + half];
      const out = (r) => line.x < r.left - 1.5 || line.x + line.width > r.right + 1.5 || top < r.top - 1.5 || bottom > r.bottom + 1.5;
      if (out(room)) wrong("beyond its place", t.says);
      // What is placed out of the flow is cut by what places it, not by all that it stands in.
      for (let up = t.owner, o; up && up !== document.body; up = o.position === "absolute" ? up.offsetParent : up.parentElement) {
        o = getComputedStyle(up);
        if (o.overflowX === "visible" && o.overflowY === "visible" || o.display === "inline") continue;
        const edge = up.getBoundingClientRect();
        const inner = { left: edge.left + up.clientLeft, top: edge.top + up.clientTop, right: edge.right - up.clientLeft, bottom: edge.bottom - up.clientTop };
        if (out(inner)) {
          wrong("cut off", t.says, `by .${up.className}`);
          break;
        }
      }
      const hit = document.elementFromPoint(line.x + line.width / 2, line.middle);
      if (hit && !t.owner.contains(hit) && !hit.contains(t.owner)) wrong("covered", t.says, `by .${hit.className}`);
    }
    if (style.textOverflow === "ellipsis" && t.owner.scrollWidth > t.owner.clientWidth + 1 || /(\.\.\.|\u2026)$/.test(t.says)) wrong("shortened with dots", t.says);
  }
  // Lines of different texts never lie over one another.
  const lines = texts.flatMap((t) => t.here.map((l) => ({ t, left: l.x, right: l.x + l.width, top: l.middle - t.font * 0.34, bottom: l.middle + t.font * 0.34 })));
  for (const [k, a] of lines.entries()) {
    for (const b of lines.slice(k + 1)) {
      if (a.t === b.t) continue;
      if (a.left < b.right - 2 && b.left < a.right - 2 && a.top < b.bottom - 2 && b.top < a.bottom - 2) wrong("over one another", `${a.t.says} / ${b.t.says}`);
    }
  }

  // No text nearer to a frame than the scale of spaces says: its own, or another's.
  const framed = [...document.querySelectorAll(".target, .hold, .arc-block, .first-cause, .verdict, .said, .card-outline, .shut.second-step")].filter(shown);
  const space = Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm")) * (innerHeight / px < 110 ? 2 : 3);
  for (const n of framed) {
    const r = n.getBoundingClientRect();
    const wide = Number.parseFloat(getComputedStyle(n).borderTopWidth);
    for (const l of lines) {
      // The line of fine print in the dead strip stands in its middle, between HOLD and the glass's edge.
      if (l.t.owner.closest("#strip")) continue;
      const near = n.contains(l.t.owner)
        ? Math.min(l.left - r.left - wide, r.right - wide - l.right)
        : Math.max(r.left - l.right, l.left - r.right, r.top - l.bottom, l.top - r.bottom);
      if (near < space - 0.3 * px) wrong("nearer to a frame than its space", l.t.says, `${(near / px).toFixed(1)} mm from .${n.className}`);
    }
  }
  // The pane beside the work has a seam: words keep their space from it on both sides.
  const pane = document.querySelector(".page > .column");
  if (pane && shown(pane)) {
    const seam = pane.getBoundingClientRect().left - space;
    for (const l of lines) {
      if (!l.t.owner.closest("#middle") || l.t.owner.closest(".target, .said")) continue;
      const near = Math.max(seam - l.right, l.left - seam);
      if (near < space - 0.3 * px) wrong("nearer to the pane's seam than its space", l.t.says, `${(near / px).toFixed(1)} mm`);
    }
  }
  // One symbol at most flashes, never words, and only while something is new (or shown by the lamp test).
  const flashing = document.getAnimations().map((a) => a.effect.target);
  if (flashing.length > 1) wrong("more than one thing flashes", String(flashing.length));
  for (const n of flashing) if (n.textContent !== "" || n.closest("[data-look]")?.dataset.look !== "new") wrong("flashes", n);

  const targets = [...document.querySelectorAll(".target")].filter(shown);
  for (const n of targets) {
    const r = n.getBoundingClientRect();
    // Whole under the finger: its middle and near its corners.
    for (const [fx, fy] of [[0.5, 0.5], [0.06, 0.06], [0.94, 0.06], [0.06, 0.94], [0.94, 0.94]]) {
      const hit = document.elementFromPoint(r.x + r.width * fx, r.y + r.height * fy);
      if (hit?.closest(".target") !== n) {
        wrong("covered or cut off", n, `at ${fx}, ${fy}`);
        break;
      }
    }
    for (const l of lines) {
      if (n.contains(l.t.owner)) continue;
      if (l.left < r.right - 1 && r.left < l.right - 1 && l.top < r.bottom - 1 && r.top < l.bottom - 1) wrong("words over a target", l.t.says, `over "${words(n)}"`);
    }
  }
  const at = hold.getBoundingClientRect();
  for (const part of [0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98]) {
    for (const down of [0.1, 0.5, 0.9]) {
      const hit = document.elementFromPoint(at.x + at.width * part, at.y + at.height * down);
      if (hit?.closest(".hold") !== hold) wrong("over HOLD", hit ?? "nothing", `at ${part}`);
    }
  }
  const style = (n) => Number.parseFloat(getComputedStyle(n).fontSize);
  const read = [...document.querySelectorAll(".why-line, .do-line, .near-line, .caption, .finding-says, .finding-remedy, .first-cause p:not(.first-word), .parts-say, .said, .vouch-says")].filter(shown);
  return {
    px,
    small: innerHeight / px < 110,
    page: document.body.dataset.page,
    band: document.body.dataset.band,
    replay: document.body.dataset.frame === "replay",
    targets: targets.map(box),
    starters: targets.filter((n) => n.matches(".starter")).map(box),
    hold: plain(at),
    far: { font: style(document.querySelector(".far-word")), words: words(document.querySelector(".far-word")) },
    read: read.map((n) => ({ font: style(n), words: words(n) })),
    wide: document.documentElement.scrollWidth - innerWidth,
    tall: document.documentElement.scrollHeight - innerHeight,
    glass,
    found,
  };
}

const apart = (a, b) => [Math.max(0, b.x - a.x - a.width, a.x - b.x - b.width), Math.max(0, b.y - a.y - a.height, a.y - b.y - b.height)];

/** Everything that is wrong with the page as it stands, in words. */
function judged(seen) {
  const wrong = [...seen.found];
  const say = (yes, what) => {
    if (!yes) wrong.push(what);
  };
  const mm = (n) => n / seen.px;
  const { small } = seen;
  const gapMm = small ? 3 : 6;
  const edgeMm = small ? 2 : 3;
  for (const t of seen.targets) {
    say(mm(Math.min(t.width, t.height)) >= 20 - HAIR_MM, `"${t.words}" is ${mm(t.width).toFixed(1)} x ${mm(t.height).toFixed(1)} mm`);
    const under = mm(seen.hold.y - t.y - t.height);
    say(under >= gapMm - HAIR_MM, `"${t.words}" is ${under.toFixed(1)} mm from HOLD`);
    const aside = mm(Math.min(t.x, seen.glass.right - t.x - t.width, t.y));
    say(aside >= edgeMm - HAIR_MM, `"${t.words}" is ${aside.toFixed(1)} mm from the edge of the glass`);
  }
  for (const t of seen.starters) {
    say(mm(t.height) >= 25 - HAIR_MM && mm(t.width) >= 60 - HAIR_MM, `starter "${t.words}" is ${mm(t.width).toFixed(1)} x ${mm(t.height).toFixed(1)} mm`);
    const away = mm(seen.hold.y - t.y - t.height);
    say(away >= (small ? 20 : 45) - HAIR_MM, `starter "${t.words}" is ${away.toFixed(1)} mm from HOLD`);
    for (const other of seen.targets.filter((o) => o.words !== t.words && !o.words.includes("Make ready"))) {
      const gap = mm(Math.hypot(...apart(t, other)));
      say(gap >= (small ? 20 : 25) - HAIR_MM, `"${other.words}" is ${gap.toFixed(1)} mm from starter "${t.words}"`);
    }
  }
  for (const [k, a] of seen.targets.entries()) {
    for (const b of seen.targets.slice(k + 1)) {
      const gap = mm(Math.max(...apart(a, b)));
      say(gap >= gapMm - HAIR_MM, `${gap.toFixed(1)} mm between "${a.words}" and "${b.words}"`);
    }
  }
  const most = seen.page === "cut" && !seen.replay ? 4 : 8;
  say(seen.targets.length + 1 <= most, `${seen.targets.length + 1} targets on one page`);
  say(mm(seen.hold.height) >= (small ? 15 : 20) - HAIR_MM, `HOLD is ${mm(seen.hold.height).toFixed(1)} mm high`);
  const far = mm(seen.far.font * CAP);
  const least = seen.band === "low" ? (small ? 7 : 9) : small ? 13.9 : 20.9;
  say(far >= least, `the far word "${seen.far.words}" is ${far.toFixed(1)} mm high`);
  // On 7 inches what is read at the glass has the least height that can be read at 0.6 m.
  for (const r of seen.read) say(mm(r.font * CAP) >= (small ? 2.8 : 3.5) - 0.05, `"${r.words}" is ${mm(r.font * CAP).toFixed(2)} mm high`);
  say(seen.wide <= 0 && seen.tall <= 0, `${seen.wide} px too wide, ${seen.tall} px too tall`);
  return [...new Set(wrong)];
}

/** What is wrong with the page as it stands, and where HOLD is. */
export async function looked(s) {
  const seen = await s.page.evaluate(measure);
  return { wrong: judged(seen), hold: seen.hold };
}

/** @param {Awaited<ReturnType<import("./screen.js").screen>>} s */
export async function audit(s, where, holdBefore = null) {
  const { wrong, hold } = await looked(s);
  assert.deepEqual(wrong, [], `${where}:\n${wrong.join("\n")}`);
  if (holdBefore) assert.deepEqual(hold, holdBefore, `${where}: HOLD has moved`);
  return hold;
}
