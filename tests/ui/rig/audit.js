// What must be true of every page: sizes by the glass's own millimetre, HOLD in its place with
// nothing over it, nothing beside the glass.

import assert from "node:assert/strict";

/** A target may be a hair smaller than 20 mm by rounding to pixels, mm. */
const HAIR_MM = 0.2;

/** @param {Awaited<ReturnType<import("./screen.js").screen>>} s */
export async function audit(s, where, holdBefore = null) {
  const seen = await s.page.evaluate(() => {
    const px = Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm"));
    const shown = (n) => n.getClientRects().length > 0;
    const box = (n) => {
      const { x, y, width, height } = n.getBoundingClientRect();
      return { x, y, width, height, words: n.innerText.replaceAll("\n", " ").slice(0, 40) };
    };
    const hold = document.querySelector(".hold");
    const at = box(hold);
    const over = [0.1, 0.3, 0.5, 0.7, 0.9].map((part) => document.elementFromPoint(at.x + at.width * part, at.y + at.height / 2)?.closest(".hold") === hold);
    // Lines that stand below the box which holds them. (A letter's own box is taller than its line.)
    const spills = (n) => n.matches(".way-words, .step-says, .left, .under-two .column, .costs") && [...n.children].some((kid) => shown(kid) && kid.getBoundingClientRect().bottom > n.getBoundingClientRect().bottom + 1);
    const clipped = [...document.querySelectorAll(".target, .far-word, .arc-block, .verdict, .caption, .way-words, .step-says, .page[data-page=parts] .left, .under-two .column, .costs")]
      .filter(shown)
      .filter((n) => n.scrollWidth > n.clientWidth + 1 || (n.matches(".target") && n.scrollHeight > n.clientHeight + 1) || spills(n))
      .map((n) => `${n.className}: ${n.innerText}`);
    const far = box(document.querySelector(".far-word"));
    return {
      px,
      targets: [...document.querySelectorAll(".target")].filter(shown).map(box),
      starters: [...document.querySelectorAll(".starter")].filter(shown).map(box),
      hold: at,
      holdFree: over.every(Boolean),
      clipped,
      far,
      wide: document.documentElement.scrollWidth - innerWidth,
      tall: document.documentElement.scrollHeight - innerHeight,
      small: innerHeight < 560,
    };
  });
  const mm = (n) => n / seen.px;
  for (const t of seen.targets) {
    assert.ok(mm(Math.min(t.width, t.height)) >= 20 - HAIR_MM, `${where}: "${t.words}" is ${mm(t.width).toFixed(1)} x ${mm(t.height).toFixed(1)} mm`);
    const under = mm(seen.hold.y - t.y - t.height);
    assert.ok(under >= (seen.small ? 3 : 6) - HAIR_MM, `${where}: "${t.words}" is ${under.toFixed(1)} mm from HOLD`);
  }
  for (const t of seen.starters) {
    assert.ok(mm(t.height) >= 25 - HAIR_MM && mm(t.width) >= 60 - HAIR_MM, `${where}: starter "${t.words}" is ${mm(t.width).toFixed(1)} x ${mm(t.height).toFixed(1)} mm`);
    const away = mm(seen.hold.y - t.y - t.height);
    assert.ok(away >= (seen.small ? 20 : 45) - HAIR_MM, `${where}: starter "${t.words}" is ${away.toFixed(1)} mm from HOLD`);
    for (const other of seen.targets.filter((o) => o.words !== t.words && !o.words.includes("Make ready"))) {
      const dx = Math.max(0, other.x - t.x - t.width, t.x - other.x - other.width);
      const dy = Math.max(0, other.y - t.y - t.height, t.y - other.y - other.height);
      const gap = mm(Math.hypot(dx, dy));
      assert.ok(gap >= (seen.small ? 20 : 25) - HAIR_MM, `${where}: "${other.words}" is ${gap.toFixed(1)} mm from starter "${t.words}"`);
    }
  }
  for (const [k, a] of seen.targets.entries()) {
    for (const b of seen.targets.slice(k + 1)) {
      const dx = Math.max(0, b.x - a.x - a.width, a.x - b.x - b.width);
      const dy = Math.max(0, b.y - a.y - a.height, a.y - b.y - b.height);
      const gap = mm(Math.max(dx, dy));
      assert.ok(gap >= (seen.small ? 3 : 6) - HAIR_MM, `${where}: ${gap.toFixed(1)} mm between "${a.words}" and "${b.words}"`);
    }
  }
  assert.ok(seen.targets.length + 1 <= 8, `${where}: ${seen.targets.length + 1} targets`);
  assert.ok(mm(seen.hold.height) >= (seen.small ? 15 : 20) - HAIR_MM, `${where}: HOLD is ${mm(seen.hold.height).toFixed(1)} mm high`);
  assert.ok(seen.holdFree, `${where}: something lies over HOLD`);
  assert.deepEqual(seen.clipped, [], `${where}: words are cut off`);
  assert.ok(seen.wide <= 0 && seen.tall <= 0, `${where}: ${seen.wide} px too wide, ${seen.tall} px too tall`);
  const place = { x: seen.hold.x, y: seen.hold.y, width: seen.hold.width, height: seen.hold.height };
  if (holdBefore) assert.deepEqual(place, holdBefore, `${where}: HOLD has moved`);
  return place;
}
