// A trace as the panel would keep it of a lost arc: invented, in the form of the fixture.

import { fixture } from "./fixtures.js";

/** `ms` before the fault is the arc lost; twenty seconds before it and ten after, a sample each 10 ms. */
export function lostArc({ ms = 30 } = {}) {
  const form = fixture("trace");
  const bit = (name) => 1 << form.levels.indexOf(name);
  const at = Array.from({ length: 3001 }, (_, k) => k * 10 - 20_000);
  const burnsFrom = -3_900;
  const on = at.map((t) => {
    const fire = t >= burnsFrom - 400 && t < 4;
    const arc = t >= burnsFrom && t < -ms;
    const moving = (t >= burnsFrom + 430 && t < 61) || (t >= 80 && t < 651) || (t < burnsFrom - 600 && (t / 400) % 3 < 2);
    const contact = t >= -5_074 && t < -5_024;
    return (fire || arc ? bit("permit") : 0) | (fire ? bit("fire") : 0) | (arc ? bit("arc-ok") : 0) | (moving ? bit("moving") : 0) | (contact ? bit("contact") : 0) | (t >= 0 ? bit("hold") : 0);
  });
  const known = form.known[0];
  const cutting = (t) => t >= burnsFrom + 550 && t < 61;
  return {
    ...form,
    faults_us: [80_000_000], from_us: 60_000_000,
    t_us: at.map((t) => (t + 20_000) * 1000),
    known: at.map(() => known), on,
    x: at.map((t) => 66 + t / 1000), y: at.map(() => 225),
    height_mm: at.map((t) => (t < -18_000 ? null : t < burnsFrom - 1000 ? 25 : t < burnsFrom + 430 ? 3.5 : t < 80 ? 1.5 : Math.min(25, 1.5 + (t - 80) / 24))),
    speed_mm_s: at.map((t) => (cutting(t) ? 18.33 : t < -5_100 && (t / 400) % 3 < 2 ? 90 : 0)),
    volts: at.map((t) => (t < burnsFrom || t >= -ms ? -0.12 : t < burnsFrom + 500 ? 132 - (t - burnsFrom) / 50 : 119 + Math.sin(t / 90) + (t > -900 ? (t + 900) / 60 : 0))),
    cut: at.map(() => 2),
  };
}
