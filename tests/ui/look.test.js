// How the pages look from where they are read: the plate is the largest thing while it cuts, a quiet run
// shows no alarm's colour, an emergency stop is told from a hold by more than its word, a hold that the
// operator asked for leaves no alarm's colour. Measured in the pixels that a person sees.

import assert from "node:assert/strict";
import test, { describe } from "node:test";
import { fixture } from "./rig/fixtures.js";
import { laid, stops } from "./rig/glass.js";
import { manyParts } from "./rig/job.js";
import { GLASSES } from "./rig/screen.js";

/** The sheet has at least so much of the page's width while it cuts. */
const PLATE_SHARE = 0.4;
/** A stop is shown near by in at least so much, width and height, mm: a stroke of 5 mm with room about it. */
const PICTURE_MM = [30, 9.5];
/** An edge between two greys may be tinted by the drawing of letters: so many pixels are none. */
const NO_MORE_THAN = 40;

const { view } = fixture("snapshot");
const stop = (name) => stops().find((s) => s.name === name).view;

/** What is on the glass, of its own pixels: how many of each alarm's colour, and the band coarsely in green. */
async function pixels(s) {
  const shot = await s.page.screenshot();
  return s.page.evaluate(async (png) => {
    const image = await createImageBitmap(new Blob([Uint8Array.from(atob(png), (c) => c.charCodeAt(0))]));
    const canvas = new OffscreenCanvas(image.width, image.height);
    const c = canvas.getContext("2d");
    c.drawImage(image, 0, 0);
    const { data } = c.getImageData(0, 0, image.width, image.height);
    const found = { red: 0, amber: 0, blue: 0, violet: 0 };
    for (let k = 0; k < data.length; k += 4) {
      const [r, g, b] = [data[k], data[k + 1], data[k + 2]];
      const [high, low] = [Math.max(r, g, b), Math.min(r, g, b)];
      if (high < 64 || (high - low) / high < 0.4) continue;
      const span = high - low;
      const hue = 60 * (high === r ? ((g - b) / span + 6) % 6 : high === g ? (b - r) / span + 2 : (r - g) / span + 4);
      if (hue < 15 || hue > 345) found.red += 1;
      else if (hue > 25 && hue < 60) found.amber += 1;
      else if (hue > 190 && hue < 235) found.blue += 1;
      else if (hue > 240 && hue < 290) found.violet += 1;
    }
    // As a blurred eye sees the far band through green glass: means of cells of 1/20 of the width.
    const high = Math.round(document.getElementById("band").getBoundingClientRect().height * devicePixelRatio);
    const cell = Math.floor(image.width / 20);
    const coarse = [];
    for (let x = 0; x + cell <= image.width; x += cell) {
      let sum = 0;
      for (let i = x; i < x + cell; i += 1) for (let j = 0; j < high; j += 1) sum += data[4 * (j * image.width + i) + 1];
      coarse.push(sum / cell / high);
    }
    return { ...found, coarse };
  }, shot.toString("base64"));
}

/** The width of the drawn sheet in that of the page. */
const plateShare = (s) => s.page.evaluate(() => {
  const canvas = document.querySelector(".plate-box .plate");
  const c = canvas.getContext("2d");
  const plate = getComputedStyle(document.documentElement).getPropertyValue("--plate").trim();
  const want = [1, 3, 5].map((k) => Number.parseInt(plate.slice(k, k + 2), 16));
  const { data } = c.getImageData(0, 0, canvas.width, canvas.height);
  let [left, right] = [canvas.width, 0];
  for (let k = 0; k < data.length; k += 4) {
    if (data[k] !== want[0] || data[k + 1] !== want[1] || data[k + 2] !== want[2]) continue;
    const x = (k / 4) % canvas.width;
    left = Math.min(left, x);
    right = Math.max(right, x);
  }
  return (right - left) / devicePixelRatio / innerWidth;
});

/** The close-up of a stop as it is drawn, mm; nothing where there is none. */
const closeUp = (s) => s.page.evaluate(() => {
  const px = Number.parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm"));
  const box = document.querySelector(".pictures > .near")?.getBoundingClientRect() ?? { width: 0, height: 0 };
  return [box.width / px, box.height / px];
});

const theme = (s, name) => s.page.evaluate((to) => { document.documentElement.dataset.theme = to; }, name);

describe("on every glass", { concurrency: true }, () => {
  for (const glass of Object.keys(GLASSES)) {
    test(`${glass}: the plate is the largest thing on Cut, and a quiet run shows no alarm's colour`, async (t) => {
      const job = manyParts();
      const s = await laid(t, glass, { job });
      const cuts = job.drawing.cuts.map((_, k) => (k < 7 ? { state: "done", done: [] } : k === 7 ? { state: "now", done: [[0, 71]] } : { state: "to-do", done: [] }));
      const run = { ...view, near: stop("hold, new").near, alarms: [], hold: null, change: null, marks: [], entries: [], cuts, phase: "running", step: "cut", waiting_for: "nothing", cut: 8, torch: { ...view.torch, place: [66, 225], arc: "on", moving: true }, signals: { ...view.signals, volts: 118 } };
      await s.lay(run, { practice: false });
      await s.drawn();
      for (const name of ["day", "night", "glare"]) {
        await theme(s, name);
        await s.lay(run, { practice: false });
        const share = await plateShare(s);
        assert.ok(share >= PLATE_SHARE, `${name}: the sheet has ${(share * 100).toFixed(1)} % of the width`);
        const seen = await pixels(s);
        for (const colour of ["red", "amber", "blue"]) assert.ok(seen[colour] <= NO_MORE_THAN, `${name}: ${seen[colour]} pixels are ${colour}`);
        if (name === "day") assert.ok(seen.violet > 2000, `${name}: the arc has its tint: ${seen.violet}`);
      }
      assert.deepEqual(s.troubles, []);
    });

    test(`${glass}: an emergency stop is no hold, from 3 m, and a hold by the operator no alarm`, async (t) => {
      const s = await laid(t, glass);
      const looks = {};
      for (const name of ["day", "night", "glare"]) {
        for (const of of ["hold, new", "arc-lost, new", "estop, new", "estop, seen"]) {
          await theme(s, name);
          await s.lay(stop(of), { practice: false });
          if (name === "day" && of === "hold, new") await s.drawn();
          const [wide, high] = await closeUp(s);
          assert.ok(wide >= PICTURE_MM[0] && high >= PICTURE_MM[1], `${name}, ${of}: the picture is ${wide.toFixed(1)} x ${high.toFixed(1)} mm`);
          looks[of] = { ...(await pixels(s)), sign: await s.has(".sign") };
        }
        const held = looks["hold, new"];
        assert.ok(!held.sign && held.red <= NO_MORE_THAN && held.amber <= NO_MORE_THAN, `${name}: a hold by the operator is no alarm: ${JSON.stringify(held)}`);
        const whole = GLASSES[glass].width * GLASSES[glass].height;
        assert.ok(looks["estop, new"].red > whole * 0.08, `${name}: red of an emergency stop: ${looks["estop, new"].red}`);
        assert.ok(looks["arc-lost, new"].amber > whole * 0.08 && looks["arc-lost, new"].red <= NO_MORE_THAN, `${name}: amber of a stopped job: ${JSON.stringify(looks["arc-lost, new"])}`);
        assert.ok(looks["estop, new"].sign && looks["estop, seen"].sign, `${name}: an emergency stop has its octagon, seen or not`);
        assert.ok(looks["estop, seen"].red > 2000 && looks["estop, seen"].red < looks["estop, new"].red / 2, `${name}: seen is not new`);
        // Without any colour, blurred, beside the word: where a hold's band is ground, a stop's is not.
        const apart = held.coarse.map((g, k) => Math.abs(g - looks["estop, new"].coarse[k]));
        const most = Math.max(...apart);
        if (name !== "night") assert.ok(most > 80, `${name}: the bands differ by ${most.toFixed(0)} of 255 in green`);
      }
      assert.deepEqual(s.troubles, []);
    });
  }
});
