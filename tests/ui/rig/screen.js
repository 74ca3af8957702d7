// A real browser with a touch glass, and a gloved finger on it.

import { mkdir } from "node:fs/promises";
import { after } from "node:test";
import { join } from "node:path";
import { chromium } from "playwright-core";
import { forMs, until } from "./wait.js";

const FLAGS = [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync",
  "--disable-component-update",
];
export const GLASSES = {
  "10-inch": { width: 1280, height: 800 },
  "10-inch-wide": { width: 1024, height: 600 },
  "7-inch": { width: 800, height: 480 },
};
const SHOTS = process.env.STANDCLEAR_SCREENS ?? new URL("../../../target/screens", import.meta.url).pathname;
/** Targets take no touch for 400 ms after a page change. */
const DEAF_MS = 420;

/** The browser of this file's tests: started once. Each screen is a context of its own in it. */
let started = null;
function browserOfAll() {
  started ??= chromium.launch({ executablePath: process.env.STANDCLEAR_BROWSER ?? "/usr/bin/chromium", args: FLAGS });
  return started;
}
after(async () => (await started)?.close());

/**
 * @param {string} address
 * @param {keyof typeof GLASSES} glass
 * @param {() => void} [before]  runs in the page before its own scripts
 */
export async function screen(address, glass, before) {
  const browser = await browserOfAll();
  const context = await browser.newContext({ viewport: GLASSES[glass], hasTouch: true });
  const page = await context.newPage();
  const troubles = [];
  page.on("pageerror", (e) => troubles.push(e.message));
  page.on("console", (m) => {
    if (m.type() === "error") troubles.push(m.text());
  });
  const finger = await context.newCDPSession(page);
  if (before) await page.addInitScript(before);
  await page.goto(address);

  const status = () => page.evaluate(() => document.body.innerText);
  const visible = (selector) => page.locator(selector).filter({ visible: true }).first();
  const self = {
    page,
    troubles,
    status,
    text: async (selector) => (await visible(selector).innerText()).trim(),
    has: async (selector) => (await page.locator(selector).filter({ visible: true }).count()) > 0,
    far: () => page.locator("[data-test=far]").innerText(),
    /** Waits until a page of the console is shown. */
    async on(name) {
      await until(`the page ${name}`, async () => (await page.locator(`[data-page="${name}"].page`).count()) > 0, { status });
      await forMs(DEAF_MS);
    },
    async see(what, selector) {
      await until(what, () => self.has(selector), { status });
    },
    async farIs(...words) {
      await until(`far word ${words}`, async () => words.includes(await self.far()), { limitMs: 60_000, status });
    },
    async place(selector) {
      // What is drawn anew between one look and the next has no place for a moment.
      let at = null;
      await until(selector, async () => (at = await self.placeNow(selector)) !== null, { status });
      return at;
    },
    /** The same at once; `null`: it is not there. */
    async placeNow(selector) {
      const box = await visible(selector).boundingBox({ timeout: 500 }).catch(() => null);
      return box && { x: box.x + box.width / 2, y: box.y + box.height / 2 };
    },
    /** Contact and lift, if it is there: the page may have changed just before. */
    async tapNow(selector) {
      const at = await self.placeNow(selector);
      if (at) await page.touchscreen.tap(at.x, at.y);
    },
    /** Contact and lift. */
    async tap(selector) {
      const at = await self.place(selector);
      await page.touchscreen.tap(at.x, at.y);
    },
    down: (...points) => finger.send("Input.dispatchTouchEvent", { type: "touchStart", touchPoints: points }),
    up: () => finger.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] }),
    move: (point) => finger.send("Input.dispatchTouchEvent", { type: "touchMove", touchPoints: [point] }),
    /** Keeps pressed for so long. */
    async keep(selector, ms = 1150) {
      await self.keepAt(await self.place(selector), ms);
    },
    async keepAt(at, ms = 1150) {
      await self.down(at);
      await forMs(ms);
      await self.up();
    },
    async shot(name, on = glass) {
      await mkdir(SHOTS, { recursive: true });
      await page.screenshot({ path: join(SHOTS, `${on}-${name}.png`) });
    },
    end: () => context.close(),
  };
  return self;
}

const TOLD = [".column .target:has-text('Seen:')", ".column .target:has-text('Clear:')"];

/** That the state changed just as something was pressed: it is read, put away, and pressed again. */
const LATE = "#middle:has-text('showed an older state') .target:has-text('Seen')";

/** Presses a target until it is gone: one that has just come takes no touch yet. */
export async function press(s, target) {
  for (let tries = 0; await s.has(target); tries += 1) {
    if (tries > 20) throw new Error(`pressed in vain: ${target}\n${await s.status()}`);
    if (target !== LATE && (await s.has(LATE))) await press(s, LATE);
    if (await s.has(target)) await s.tap(target);
    await until("the press to be taken", async () => !(await s.has(target)) || (await s.has(LATE)), { limitMs: 2000, status: s.status }).catch(() => {});
  }
}

/** From the checks to START, or to the ways on of a run that is taken up again, by touch. */
export async function throughChecks(s) {
  // `null`: another page has come.
  const title = () => s.page.locator("[data-page=checks].page h2").textContent({ timeout: 500 }).catch(() => null);
  const turn = ".column .feet .target:last-child";
  const confirm = ".column .target:has-text('The torch is where')";
  const right = ".column .target:has-text('At the table: set it right')";
  const stands = ".target:has-text('It stands right')";
  await s.on("checks");
  for (;;) {
    const next = await until("something to do in the checks", async () => {
      if (await s.has(LATE)) return "late";
      for (const act of TOLD) if (await s.has(act)) return "told";
      if (await s.has(".target:has-text('Go on with cut')")) return "Start again where it stopped";
      if (await s.has(stands)) return "stands";
      if (await s.has(".first-step")) return "two steps";
      if (await s.has(right)) return "right";
      if (await s.has(".starter, .starter-like")) return s.text(".starter, .starter-like");
      if (await s.has(confirm)) return "confirm";
      if (["HOMING", "STARTING"].includes(await s.far()) || (await s.has(".vouch[data-shut]"))) return null;
      if (await s.has(".vouch:not([data-holds=yes])")) return "vouch";
      return (await s.has(turn)) ? "turn" : null;
    }, { status: s.status });
    if (/^START|^Start/.test(next)) return;
    if (next === "vouch") {
      const check = await s.page.locator(".vouch:not([data-holds=yes])").first().getAttribute("data-check");
      await s.tap(`[data-check="${check}"]`);
      await until("the tick, or that the screen was late", async () => (await s.has(`[data-check="${check}"][data-holds=yes]`)) || (await s.has(LATE)), { status: s.status });
    } else if (next === "right") {
      // Hands press hold button and e-stop once; the e-stop latches, and is told and cleared below.
      await s.tap(right);
      await until("hands at the table", async () => !(await s.has(right)), { status: s.status });
    } else if (next === "told") {
      for (const act of TOLD) await press(s, act);
    } else if (next === "two steps") {
      // A page that has just come takes no touch yet.
      while (!(await s.has(".second-step.starter"))) {
        await s.tap(".first-step");
        await until("the second step", () => s.has(".second-step.starter"), { limitMs: 1000 }).catch(() => {});
      }
      // Make ready lapses by itself: then there is nothing to keep pressed, and it is made ready again.
      const at = await s.placeNow(".second-step.starter");
      if (!at) continue;
      await s.keepAt(at);
      await until("the two steps to be over", async () => !(await s.has(".first-step")), { status: s.status });
    } else if (next === "late") {
      // The state changed just as it was pressed: read, and pressed again.
      await press(s, LATE);
    } else if (next === "stands") {
      await press(s, stands);
    } else if (next === "confirm") {
      await press(s, confirm);
    } else if (next === "turn") {
      const before = await title();
      await s.tap(turn);
      // A page that has just come takes no touch yet: then all is looked at once more.
      await until("the next page of the checks", async () => (await title()) !== before, { limitMs: 2000 }).catch(() => {});
    } else {
      // Again if the page had only just come and took no touch yet.
      await s.keep(".starter");
      await until(`more than "${next}"`, async () => !(await s.has(".starter")) || (await s.text(".starter")) !== next, { limitMs: 3000 }).catch(() => {});
    }
  }
}

/** What is seen or cleared before the ways on are open. */
export async function seen(s) {
  await until("the ways on", async () => {
    if (await s.has(".target:has-text('Go on with cut')")) return true;
    for (const act of TOLD) await press(s, act);
    return false;
  }, { status: s.status });
}

/** From the page of the ways on to the page where it is made ready: warnings are accepted one by one. */
export async function toGo(s, onWeigh = async () => {}) {
  await until("the page to go on", async () => {
    const page = await s.page.evaluate(() => document.body.dataset.page);
    if (page === "go") return true;
    if (page === "resume" && (await s.has(".target:has-text('Go on this way')"))) await s.tap(".target:has-text('Go on this way')");
    if (page === "weigh") {
      await onWeigh();
      await s.tap(".reasons .target");
    }
    return false;
  }, { status: s.status });
  await s.on("go");
}

/** Keeps a starter pressed until it is taken: late data take it back. */
export async function keepOn(s, starter) {
  await s.see(starter, starter);
  for (let tries = 0; await s.has(starter); tries += 1) {
    if (tries > 20) throw new Error(`kept pressed in vain: ${starter}\n${await s.status()}`);
    if (await s.has(LATE)) await press(s, LATE);
    const at = await s.placeNow(starter);
    if (at) await s.keepAt(at);
    await until("the press to be taken", async () => !(await s.has(starter)), { limitMs: 3000 }).catch(() => {});
  }
}

/** Makes ready, and keeps pressed what goes on, until it is taken. */
export async function pressOn(s) {
  await s.see("the two steps", ".first-step");
  for (let tries = 0; await s.has(".first-step"); tries += 1) {
    if (tries > 20) throw new Error(`pressed in vain\n${await s.status()}`);
    if (await s.has(LATE)) await press(s, LATE);
    // Make ready lapses by itself, and with data that come late: then it is made ready again.
    const second = await s.placeNow(".second-step.starter");
    if (second) {
      await s.keepAt(second);
      await until("the two steps to be over", async () => !(await s.has(".first-step")), { limitMs: 3000 }).catch(() => {});
    } else {
      const first = await s.placeNow(".first-step");
      if (first) await s.page.touchscreen.tap(first.x, first.y);
      await until("the second step", () => s.has(".second-step.starter"), { limitMs: 1000 }).catch(() => {});
    }
  }
}
