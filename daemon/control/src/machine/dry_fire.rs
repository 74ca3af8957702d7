//! A dry fire: the torch is fired for half a second over heavy scrap, too high for an arc to pass over,
//! without motion (process handbook, step 14). The permit, the start contact and the source are seen to
//! follow and to let go. It is fired by no other way than a cut is: start record on the disk, sensing
//! circuit off, permit, relay, torch-on.

use core::time::Duration;

use link::{Command, Ticket};
use units::Time;

use super::commission::not_so;
use super::{Act, Machine, Next};
use crate::ask::CheckId;
use crate::cause::Cause;
use crate::event::Event;
use crate::guard::Phase;
use crate::io::RecordId;
use crate::machine::checks;
use crate::machine::watching::RELAY_PULLS;

/// It fires for this long (process handbook: common practice, invented).
const FIRES: Duration = Duration::from_millis(500);
/// Record, sensing circuit and volts must be as they must be within this (ours; a post-flow is over by then).
const READY_LIMIT: Duration = Duration::from_secs(20);
/// The start contact must follow torch-on, and torch-off, within this (ours).
const FOLLOWS: Duration = Duration::from_secs(1);
/// The torch is dead below this, V.
const DEAD_V: f64 = 5.0;
/// Volts below this are inverted, V (process handbook 3.6: common practice, invented).
const INVERTED_V: f64 = -20.0;
/// Open-circuit volts of a sound divider (process handbook 3.6: common practice, from memory).
const OPEN_CIRCUIT_V: core::ops::RangeInclusive<f64> = 200.0..=400.0;

/// How far it has come.
#[derive(Clone, Copy, Debug)]
enum Stage {
    Ready { record: RecordId, isolated: Ticket },
    Closing,
    On,
    Fires { rise: Time },
    Off { ticket: Ticket, told: bool },
}

/// A dry fire under way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct DryFire {
    stage: Stage,
    since: Time,
    highest_v: Option<f64>,
    arc: bool,
}

impl Machine {
    /// Begins one, or says why not.
    pub(super) fn begin_dry_fire(&mut self) {
        let source_off = self.signals.source_on == Some(false);
        let bars = self.bars_dry_fire();
        if let Some(check) = bars.or(source_off.then_some(CheckId::SourceOn)) {
            self.own_turn_over(Err(format!("It was not fired: {}.", not_so(check))));
            return;
        }
        let record = self.record(Event::DryFire, true);
        let isolated = self.disconnect_sense();
        self.act = Act::DryFire(DryFire {
            stage: Stage::Ready { record, isolated },
            since: self.now,
            highest_v: None,
            arc: false,
        });
        self.out.publish();
    }

    /// What keeps a dry fire from being made, but for the source: that is switched on while its step asks.
    pub(super) fn bars_dry_fire(&self) -> Option<CheckId> {
        let homed = self.reference.homed && self.line.referenced(true);
        checks::bars_moving(self)
            .or_else(|| (!homed).then_some(CheckId::Referenced))
            .or_else(|| self.signals.contact.then_some(CheckId::ContactOpen))
            .or_else(|| (self.signals.air_ok == Some(false)).then_some(CheckId::AirGood))
            .or_else(|| (!self.readiness.permit_tested).then_some(CheckId::PermitTested))
            .or_else(|| (!self.self_test.passed).then_some(CheckId::SelfTested))
            .or_else(|| self.keeping.failing.then_some(CheckId::RecordKept))
    }

    pub(super) fn advance_dry_fire(&mut self, mut fire: DryFire) -> Next {
        if let Some(v) = self.signals.volts {
            let highest = fire.highest_v.unwrap_or(v);
            fire.highest_v = Some(if v.abs() > highest.abs() { v } else { highest });
        }
        fire.arc |= self.signals.arc_ok;
        match fire.stage {
            Stage::Ready { record, isolated } => self.dry_fire_ready(fire, record, isolated),
            Stage::Closing => self.dry_fire_closing(fire),
            Stage::On => {
                if let Some(rise) = self.guard.fire_rise.filter(|t| *t >= fire.since) {
                    return self.dry_fire_goes_on(fire, Stage::Fires { rise });
                }
                self.dry_fire_waits(fire, FOLLOWS, "The start contact did not follow torch-on.")
            }
            Stage::Fires { rise } => {
                if self.due(rise + FIRES) || fire.arc {
                    let ticket = self.line.say(Command::TorchOff);
                    return self.dry_fire_goes_on(
                        fire,
                        Stage::Off {
                            ticket,
                            told: false,
                        },
                    );
                }
                Next::Stays(Act::DryFire(fire))
            }
            Stage::Off { ticket, told } => self.dry_fire_ends(fire, ticket, told),
        }
    }

    fn dry_fire_goes_on(&mut self, fire: DryFire, stage: Stage) -> Next {
        Next::Becomes(Act::DryFire(DryFire {
            stage,
            since: self.now,
            ..fire
        }))
    }

    /// Waits on; beyond its limit it is stopped as any act is.
    fn dry_fire_waits(&mut self, fire: DryFire, limit: Duration, late: &str) -> Next {
        if !self.due(fire.since + limit) {
            return Next::Stays(Act::DryFire(fire));
        }
        self.act = Act::DryFire(fire);
        self.alarm(Cause::Overdue, self.now, false, late.into());
        self.stop_why(Cause::Overdue, self.now, late.into());
        Next::Set
    }

    fn dry_fire_ready(&mut self, fire: DryFire, record: RecordId, isolated: Ticket) -> Next {
        let s = &self.signals;
        let dead = s.volts.is_none_or(|v| v.abs() < DEAD_V);
        let open = !s.arc_ok && !s.fire_on && !s.contact;
        let off = s.sense_isolated != Some(false);
        // Air and source may have gone while the record was written.
        let supplied = s.air_ok != Some(false) && s.source_on != Some(false);
        if self.is_kept(record) && self.executed(isolated) && dead && open && off && supplied {
            self.sense_is_off();
            // Volts of before it say nothing of it.
            let fire = DryFire {
                highest_v: None,
                ..fire
            };
            self.set_phase(Phase::Closing);
            return self.dry_fire_goes_on(fire, Stage::Closing);
        }
        self.dry_fire_waits(
            fire,
            READY_LIMIT,
            "The torch was not dead, the sensing circuit not off, air or source gone, or the record not kept.",
        )
    }

    fn dry_fire_closing(&mut self, fire: DryFire) -> Next {
        let pulled = Duration::from_millis(self.settings.guard.relay_drop_ms);
        let closed = match self.signals.permit_closed {
            Some(closed) => closed,
            None => self.due(fire.since + pulled),
        };
        if closed {
            self.set_phase(Phase::Firing);
            self.tell_guard(false, false);
            let _ = self.line.say(Command::TorchOn);
            return self.dry_fire_goes_on(fire, Stage::On);
        }
        self.dry_fire_waits(fire, RELAY_PULLS, "The permit relay did not close.")
    }

    fn dry_fire_ends(&mut self, fire: DryFire, ticket: Ticket, told: bool) -> Next {
        let executed = self.executed(ticket);
        if executed && !told {
            self.tell_guard_torch_off();
        }
        if !(executed && !self.signals.fire_on && !self.signals.arc_ok) {
            let stage = Stage::Off {
                ticket,
                told: executed,
            };
            let fire = DryFire { stage, ..fire };
            return self.dry_fire_waits(fire, FOLLOWS, "The torch did not go out by torch-off.");
        }
        self.set_phase(Phase::Off);
        self.sense_may_be_on();
        self.act = Act::Rest;
        self.own_turn_over(judged(&fire));
        Next::Set
    }
}

fn judged(fire: &DryFire) -> Result<String, String> {
    if fire.arc {
        return Err(
            "An arc passed over: the torch stood too low, or the arc signal's wire is joined."
                .into(),
        );
    }
    match fire.highest_v {
        Some(v) if v < INVERTED_V => Err(format!("{v:.0} V: the arc volts are inverted.")),
        Some(v) if !OPEN_CIRCUIT_V.contains(&v) => Err(format!(
            "{v:.0} V open circuit; {:.0} to {:.0} is usual: the source is off, or the divider wrong.",
            OPEN_CIRCUIT_V.start(),
            OPEN_CIRCUIT_V.end()
        )),
        Some(v) => Ok(format!("Fired and went out; {v:.0} V open circuit.")),
        None => Ok("Fired and went out.".into()),
    }
}
