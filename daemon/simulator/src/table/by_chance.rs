//! What goes wrong by chance, in the rough mood: where the table's parts meet what draws it.

use units::Point;

use super::Table;
use crate::rough::Conditions;

/// A pierce below this share of its height is a low one.
const LOW: f64 = 0.7;
/// Lifted further than this above the sheet, slag may have come off, mm.
const LIFTED_MM: f64 = 5.0;

impl Table {
    /// What the arc will feel in this step.
    pub(super) fn suffer(&mut self, dt: u64) {
        if self.rough.is_none() {
            return;
        }
        let (place, _) = self.controller.true_place();
        let on_sheet = self.on_sheet(place);
        let Some(rough) = &mut self.rough else { return };
        if !rough.was.arc {
            // Asked before the arc comes: it takes the metal away in the step in which it comes.
            rough.was.metal = self.sheet.as_ref().is_some_and(|s| s.metal.at(on_sheet));
        }
        let flows = self.source.flows(self.now);
        let begun = rough.air.advance(dt as f64 / 1e9, flows);
        begun
            .into_iter()
            .flatten()
            .for_each(|name| rough.mishaps.count(name));
        let broken = if self.wrongs.air_low {
            3.0
        } else {
            f64::INFINITY
        };
        self.source.conditions = Some(Conditions {
            bar: rough.air.inlet_bar().min(broken),
            wear: rough.wear.used(),
            blown: rough.wear.blown(),
            wet_air: rough.air.wet(),
            free: rough.tips.free(on_sheet),
        });
    }

    /// What has come of this step.
    pub(super) fn see_mishaps(&mut self, now: u64) {
        let Some(mut rough) = self.rough.take() else {
            return;
        };
        let (place, z) = self.controller.true_place();
        let on_sheet = self.on_sheet(place);
        let was = rough.was;
        rough.was.burning = self.source.burning();
        rough.was.arc = self.source.transferred();
        let dt_s = now.saturating_sub(rough.seen_at) as f64 / 1e9;
        rough.seen_at = now;
        let arc = rough.was.arc;
        // Before the heat of this step has raised the sheet; asked for only where it counts.
        let counts = arc != was.arc || (self.wrongs.bridged && rough.bridge.fresh);
        let height = if counts { self.height(place, z) } else { 0.0 };
        if let Some(heat) = self.sheet.as_mut().and_then(|s| s.heat.as_mut()) {
            heat.advance(dt_s, arc.then_some(on_sheet));
        }
        if arc {
            let wet = rough.air.wet();
            rough.wear.burnt(dt_s, wet);
        }
        if rough.was.burning && !was.burning {
            self.start_by_chance(now, &mut rough);
        }
        if arc && !was.arc {
            let low = height < LOW * self.plan.pierce_height_mm;
            rough.was.low_pierce = low && rough.was.metal;
            rough.was.pierced = rough.was.metal;
        }
        if !arc && was.arc {
            self.end_by_chance(&mut rough);
        }
        if let Some(name) = self.source.take_mishap() {
            rough.mishaps.count(name);
            if name != "misfire" && name != "no-transfer" {
                rough.wear.lost();
            }
        }
        if self.wrongs.bridged && rough.bridge.fresh && height > LIFTED_MM && rough.bridge.lifted()
        {
            self.wrongs.bridged = false;
            self.feel(now, None);
        }
        self.rough = Some(rough);
    }

    /// The pilot has struck.
    fn start_by_chance(&mut self, now: u64, rough: &mut crate::rough::Rough) {
        let wet = rough.air.wet();
        rough.wear.started(wet);
        let struck = rough.bursts.start();
        rough.mishaps.times("pulse", struck.pulses);
        self.opened.short_edges = self.opened.short_edges.saturating_add(struck.pulses);
        if struck.bad_byte {
            rough.mishaps.count("bad-byte");
            self.noise_in.spoil();
        }
        if struck.reset {
            rough.mishaps.count("controller-reset");
            self.controller.reset(now);
        }
        if let Some(lost) = rough.trips.start() {
            rough.mishaps.count("drive-trip");
            self.controller.trip(now, lost);
        }
    }

    /// The arc is out: what it cut free may tip, and slag may bridge the nozzle.
    fn end_by_chance(&mut self, rough: &mut crate::rough::Rough) {
        if core::mem::take(&mut rough.was.pierced) {
            let low = rough.was.low_pierce;
            if low {
                rough.wear.pierced_low();
                rough.mishaps.count("low-pierce");
            }
            if rough.bridge.pierced(low) {
                rough.mishaps.count("slag-bridge");
                self.wrongs.bridged = true;
            }
        }
        let freed = self.sheet.as_mut().map(|s| s.metal.take_freed());
        for piece in freed.into_iter().flatten() {
            if rough.tips.freed(piece) {
                rough.mishaps.count("tip-up");
            }
        }
    }

    /// The torch has moved: into a piece that stands up; or down onto a sheet with a film.
    pub(super) fn run_into(&mut self, before: (Point, f64)) {
        if self.rough.is_none() {
            return;
        }
        let (place, z) = self.controller.true_place();
        let (height, on_sheet) = (self.height(place, z), self.on_sheet(place));
        let touching = self.controller.touching();
        let Some(rough) = &mut self.rough else { return };
        if rough.wet.touches(touching) {
            rough.mishaps.count("wet-contact");
        }
        if touching
            && height <= 0.0
            && let Some(name) = rough.film.met(on_sheet)
        {
            rough.mishaps.count(name);
        }
        let moved = place.distance(before.0);
        let moves = moved > 1e-9 || z < before.1;
        let Some(hit) = rough.tips.torch(on_sheet, height, moves) else {
            return;
        };
        rough.mishaps.count("collision");
        let way = if moved > 1e-9 {
            (
                (place.x - before.0.x) / moved,
                (place.y - before.0.y) / moved,
            )
        } else {
            (1.0, 0.0)
        };
        self.controller
            .knock(-way.0 * hit.lost_mm, -way.1 * hit.lost_mm);
        if hit.moved_mm > 0.0
            && let Some(sheet) = &mut self.sheet
        {
            rough.mishaps.count("sheet-moved");
            sheet.moved = sheet
                .moved
                .moved(way.0 * hit.moved_mm, way.1 * hit.moved_mm);
        }
        self.wrongs.unseated = true;
        self.opened.torch_seated = true;
        self.source.lose(self.now);
    }

    /// New torch parts are in.
    pub fn new_parts(&mut self) {
        if let Some(rough) = &mut self.rough {
            rough.wear.renewed();
        }
    }
}
