//! From pierce height to a burning arc: permit, relay, torch-on, arc OK.

use core::time::Duration;

use link::{Command, Ticket};
use process::VoltsInput;
use units::Time;

use super::volts::{INVERTED_V, OPEN_CIRCUIT_MOST_V};
use super::{Cycle, Move, REST_LIMIT, Stage};
use crate::cause::{Cause, Detail};
use crate::event::Event;
use crate::guard::Phase;
use crate::machine::watching::RELAY_PULLS;
use crate::machine::{Act, Machine};

/// Pierce time where the kerf is open already, s (process handbook, invented).
const OPEN_KERF_S: f64 = 0.05;
/// The start record must be on the disk within this.
pub(super) const RECORD_LIMIT: Duration = Duration::from_secs(2);
/// Volts that no arc has count after this (process handbook, invented).
const VOLTS_ODD: Duration = Duration::from_millis(100);
/// What an arc has at least and at most as it comes on, V (process handbook, invented).
const VOLTS_OF_NEW_ARC: core::ops::RangeInclusive<f64> = 60.0..=250.0;
/// The torch stands within this of its start height, mm (process handbook, invented).
const START_HEIGHT_MM: f64 = 0.2;
/// Above this the torch is not dead, V.
pub(super) const VOLTS_AT_REST: f64 = 5.0;

/// Volts below this are none: the source has not answered, V (process handbook: "about 0").
const LIVE_V: f64 = 20.0;
/// A filtered reading has risen within this: three times its 20 ms.
const VOLTS_RISE: Duration = Duration::from_millis(60);

/// Volts seen since torch-on.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::machine) struct VoltsSeen {
    /// The source has answered since then.
    live: Option<Time>,
    n: u32,
    sum: f64,
    low: f64,
    high: f64,
}

impl VoltsSeen {
    pub(super) fn add(&mut self, now: Time, v: f64) {
        if v >= LIVE_V {
            self.live.get_or_insert(now);
        }
        // What was before the source answered, and while its volts rose, says nothing of the arc.
        if self.n == 0 || self.live.is_some_and(|t| now < t + VOLTS_RISE) {
            let live = self.live;
            *self = Self {
                live,
                low: v,
                high: v,
                ..Self::default()
            };
        }
        self.n += 1;
        self.sum += v;
        self.low = self.low.min(v);
        self.high = self.high.max(v);
    }
}

fn double_arc(volts: f64) -> String {
    let ms = VOLTS_ODD.as_millis();
    format!("{volts:.0} V for {ms} ms in the pierce: a double arc.")
}

impl Machine {
    pub(super) fn look_ready(&mut self, c: &Cycle, refire_gap_s: f64) -> Move {
        if let Some(cause) = self.alarms.latches().next() {
            return Move::Stop(cause, format!("Latched: {}.", crate::words::plain(cause)));
        }
        if self.reference.doubtful {
            return Move::Stop(
                Cause::ControllerReset,
                "The place came into doubt before the fire.".into(),
            );
        }
        let s = self.signals;
        let kept = c.record.is_some_and(|(id, _)| self.is_kept(id));
        let dead =
            s.volts.is_none_or(|v| v.abs() < VOLTS_AT_REST) && s.volts_input != VoltsInput::WireOff;
        let gap = self
            .run
            .as_ref()
            .and_then(|r| r.arc_off)
            .is_none_or(|t| self.now >= t + Duration::from_secs_f64(refire_gap_s));
        if !gap && let Some(t) = self.run.as_ref().and_then(|r| r.arc_off) {
            self.due(t + Duration::from_secs_f64(refire_gap_s));
        }
        let still = self.line.usable() && self.line.at_rest();
        let off_mm = self.line.z().zip(c.start_z).map(|(z, to)| z - to);
        let at_height = off_mm.is_some_and(|mm| mm.abs() <= START_HEIGHT_MM);
        let isolated = s.sense_isolated != Some(false);
        let open = !s.arc_ok && !s.fire_on && !s.contact;
        if kept && dead && gap && still && open && at_height && isolated {
            self.set_phase(Phase::Closing);
            return Move::On(Stage::Closing);
        }
        if let Some((_, asked)) = c.record
            && !kept
            && self.due(asked.max(c.since) + RECORD_LIMIT)
        {
            return Move::Stop(
                Cause::RecordFailed,
                format!(
                    "The start record was not kept within {} s.",
                    RECORD_LIMIT.as_secs()
                ),
            );
        }
        if self.due(c.since + REST_LIMIT) {
            let (cause, why) = self.why_not_ready(off_mm);
            return Move::Stop(cause, why);
        }
        Move::Stay
    }

    /// What bars the fire: the first of what is not as it must be. `off_mm`: how far the torch stands
    /// off its start height.
    fn why_not_ready(&mut self, off_mm: Option<f64>) -> (Cause, String) {
        if let Some(v) = self.signals.volts
            && (v.abs() >= VOLTS_AT_REST || self.signals.volts_input == VoltsInput::WireOff)
        {
            let why = format!("{v:.0} V with the torch off; limit {VOLTS_AT_REST:.0} V.");
            return self.volts_are_odd(why);
        }
        let s = &self.signals;
        if s.sense_isolated == Some(false) {
            let why = "The sensing circuit is not off the torch: arc volts may reach its board.";
            return (Cause::ContactStuck, why.into());
        }
        if s.contact {
            let why = "Contact is on with the sensing circuit off.";
            return (Cause::ContactStuck, why.into());
        }
        let why = match off_mm {
            None => "No touch-off was made for this start.".into(),
            Some(mm) if mm.abs() > START_HEIGHT_MM => format!(
                "The torch stands {mm:+.1} mm off its start height; limit {START_HEIGHT_MM} mm."
            ),
            Some(_) => "Torch, arc or motion were not at rest before the fire within 3 s.".into(),
        };
        (Cause::Overdue, why)
    }

    /// Volts are fitted, and are none that a new arc has.
    fn no_volts_of_arc(&self) -> Option<f64> {
        let volts = self.signals.volts;
        volts.filter(|v| !VOLTS_OF_NEW_ARC.contains(v))
    }

    pub(super) fn look_closing(&mut self, c: &Cycle) -> Move {
        let relay = Duration::from_millis(self.settings.guard.relay_drop_ms);
        let closed = match self.signals.permit_closed {
            Some(closed) => closed,
            None => self.due(c.since + relay),
        };
        if closed {
            let crossing = c.until_crossed_mm > 0.0;
            self.set_phase(Phase::Firing);
            self.tell_guard(false, crossing);
            self.start_begins();
            let t = self.line.say(Command::TorchOn);
            if let Some(run) = &mut self.run {
                run.tries += 1;
                let event = Event::FireAsked {
                    run: run.id,
                    cut: run.cut + 1,
                };
                self.record(event, false);
            }
            return Move::On(Stage::Fire(t));
        }
        if self.due(c.since + RELAY_PULLS) {
            return Move::Stop(
                Cause::PermitStuck,
                format!(
                    "Its mirror contact did not close in {} ms.",
                    RELAY_PULLS.as_millis()
                ),
            );
        }
        Move::Stay
    }

    pub(super) fn look_fire(
        &mut self,
        c: &mut Cycle,
        ticket: Ticket,
        cs: &process::CycleSettings,
    ) -> Move {
        if self.executed(ticket) {
            c.taken.get_or_insert(self.now);
        }
        // Under a start contact that was never seen closed the guard judges no loss of the arc: what burns
        // then is no fire to go on with, and counts as a start contact that does not close.
        let fire_rise = self.guard.fire_rise.filter(|t| *t >= c.since);
        if self.signals.arc_ok
            && let Some(fire_rise) = fire_rise
            && let Some(rise) = self.guard.arc_rise.filter(|t| *t >= c.since)
        {
            if self.due(rise + Duration::from_millis(cs.arc_ok_accept_ms)) {
                if let Some(volts) = self.no_volts_of_arc() {
                    return self.wait_for_volts(rise, volts);
                }
                let delay = if c.open_kerf {
                    OPEN_KERF_S
                } else {
                    self.loaded
                        .as_ref()
                        .map_or(0.0, |l| l.job.row.pierce_delay_s)
                };
                c.limit = Duration::from_secs_f64(delay);
                c.fired = rise;
                if let Some(run) = &mut self.run {
                    run.pierces += 1;
                    run.arc_since = Some(rise);
                    let event = Event::ArcOn {
                        run: run.id,
                        cut: run.cut + 1,
                        at_s: rise.as_s(),
                        after_s: Some(rise.since(fire_rise).as_secs_f64()),
                        volts: self.signals.volts,
                    };
                    self.record(event, false);
                }
                return Move::On(Stage::Pierce(rise + c.limit));
            }
            return Move::Stay;
        }
        let seen = Duration::from_millis(cs.fire_seen_ms);
        if !self.signals.fire_on
            && let Some(taken) = c.taken
            && self.due(taken + seen)
        {
            return Move::Stop(
                Cause::Overdue,
                format!(
                    "Torch-on was taken, but the start contact was not seen closed in {} ms.",
                    seen.as_millis()
                ),
            );
        }
        // The guard judges no-arc; this is for a controller that never carries torch-on out.
        let limit = Duration::from_secs_f64(self.settings.guard.arc_ok_within_s + 3.0);
        self.overdue(c, limit, "Torch-on was not carried out")
    }

    /// The arc signal is on without the volts of an arc: they settle, or they say something else.
    fn wait_for_volts(&mut self, rise: Time, volts: f64) -> Move {
        if !self.due(rise + VOLTS_ODD) {
            return Move::Stay;
        }
        let (low, high) = (VOLTS_OF_NEW_ARC.start(), VOLTS_OF_NEW_ARC.end());
        let ms = VOLTS_ODD.as_millis();
        if self.since.volts_low.is_some() && self.volts_fault().is_none() {
            return Move::Stop(Cause::ArcLost, double_arc(volts));
        }
        let why = format!(
            "Arc signal on for {ms} ms, and {volts:.0} V: a new arc has {low:.0} to {high:.0}."
        );
        let (cause, why) = self.volts_are_odd(why);
        Move::Stop(cause, why)
    }

    /// The arc burns: it stands over the pierce until it is through.
    pub(super) fn look_pierce(&mut self, c: &mut Cycle, until: Time) -> Move {
        if self.due(until) {
            self.start_over();
            self.begin_path(c);
            return Move::On(Stage::Path);
        }
        Move::Stay
    }

    /// Arc signal and volts disagree: on, and no arc has such volts (a double arc, a wrong divider);
    /// or off, and the volts are those of an arc.
    pub(super) fn volts_odd(&mut self, c: &Cycle) -> Option<(Cause, String)> {
        let volts = self.signals.volts?;
        let ms = VOLTS_ODD.as_millis();
        if self.volts_stand_still(c) {
            return Some(self.volts_are_odd(String::new()));
        }
        let odd = match c.stage {
            Stage::Pierce(_) if self.signals.arc_ok => self.since.volts_low?.max(c.since),
            Stage::Path if self.signals.arc_ok => {
                self.since.volts_low.or(self.since.volts_high)?.max(c.since)
            }
            Stage::Path | Stage::Extinguish | Stage::OutWait(_) | Stage::Retract(_)
                if !self.signals.arc_ok =>
            {
                self.since
                    .volts_of_arc?
                    .max(self.guard.arc_fall.unwrap_or(c.since))
            }
            _ => return None,
        };
        if !self.due(odd + VOLTS_ODD) {
            return None;
        }
        Some(match c.stage {
            Stage::Pierce(_) if self.volts_fault().is_none() => (Cause::ArcLost, double_arc(volts)),
            _ if self.signals.arc_ok => {
                let why = format!("Arc signal on, and {volts:.0} V for {ms} ms: no arc has that.");
                self.volts_are_odd(why)
            }
            _ => {
                let why = format!("Arc signal off, and {volts:.0} V for {ms} ms as of an arc.");
                self.volts_are_odd(why)
            }
        })
    }

    pub(in crate::machine) fn fire_tries(&self) -> u32 {
        self.loaded.as_ref().map_or(1, |l| l.job.cycle.fire_tries)
    }

    /// Why no arc came, told by the volts that were seen.
    pub(in crate::machine) fn why_no_arc(&self) -> String {
        let within = self.settings.guard.arc_ok_within_s;
        let told = match self.volts_seen() {
            None => "Usual: the power source is not switched on, or its start wire is off; a loose ground clamp."
                .to_string(),
            Some((seen, detail)) => {
                let mean = seen.sum / f64::from(seen.n);
                match detail {
                    Detail::VoltsNone => format!(
                        "Volts stayed at about {mean:.0}: the power source is not switched on, or its start wire is off."
                    ),
                    Detail::VoltsOpenCircuit => {
                        format!("Volts stood at {mean:.0}: open circuit, no pilot arc.")
                    }
                    Detail::VoltsDivider => {
                        format!("Volts stood at {mean:.0}: no open circuit has that.")
                    }
                    Detail::VoltsInverted => format!("Volts were {mean:.0}: the wrong sign."),
                    Detail::VoltsWireOff => "The wire of the arc volts is off.".to_owned(),
                    Detail::VoltsOfArc => format!(
                        "Volts stood at {mean:.0} as with an arc: the arc signal's wire may be off."
                    ),
                    _ => format!(
                        "Volts between {:.0} and {:.0}: a pilot arc, but it did not reach the plate. Usual: ground clamp, worn parts, air.",
                        seen.low, seen.high
                    ),
                }
            }
        };
        format!("Fire was on for {within:.1} s; no arc seen. {told}")
    }

    /// What the volts were while the arc was waited for; `None`: they are not measured.
    fn volts_seen(&self) -> Option<(VoltsSeen, Detail)> {
        let Act::Cutting(c) = &self.act else {
            return None;
        };
        let seen = c.volts;
        if seen.n == 0 {
            return None;
        }
        let mean = seen.sum / f64::from(seen.n);
        let spread = seen.high - seen.low;
        let detail = if self.signals.volts_input == VoltsInput::WireOff {
            Detail::VoltsWireOff
        } else if mean < INVERTED_V {
            Detail::VoltsInverted
        } else if seen.high < LIVE_V {
            Detail::VoltsNone
        } else if mean > OPEN_CIRCUIT_MOST_V && spread < 60.0 {
            Detail::VoltsDivider
        } else if mean > 200.0 && spread < 60.0 {
            Detail::VoltsOpenCircuit
        } else if (60.0..=200.0).contains(&mean) && spread < 30.0 {
            Detail::VoltsOfArc
        } else {
            Detail::VoltsPilot
        };
        Some((seen, detail))
    }

    /// What was measured beside a cause, as it is told from here on.
    pub(in crate::machine) fn note_detail(&mut self, cause: Cause, unread: bool) {
        let detail = match cause {
            Cause::NoArc => self.volts_seen().map(|(_, detail)| detail),
            Cause::Estop if unread => Some(Detail::InputsUnread),
            _ => None,
        };
        self.alarms.measured(cause, detail);
    }
}
