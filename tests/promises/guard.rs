//! Any sequence of orders, levels and pauses: the guard only ever takes away.

use std::collections::BTreeSet;
use std::time::Duration;

use control::guard::{GuardOrder, GuardReport, GuardRules, GuardSettings, Phase};
use control::{Cause, Signals};
use proptest::prelude::*;
use units::Time;

/// One thing that happens.
#[derive(Clone, Debug)]
enum Happens {
    Order(GuardOrder),
    /// Control handles every trip that it was told of.
    HandleAll,
    /// Control is alive: its word holds for this long.
    Lease(u64),
    Fire(bool),
    Arc(bool),
    Contact(bool),
    Estop(bool),
    HoldButton(bool),
    Volts(f64),
    /// Nothing, for this long, in steps of 1 ms.
    Wait(u64),
    /// What a whole good firing looks like, so that random walks come as far as an arc.
    FireWell,
}

fn happens() -> impl Strategy<Value = Happens> {
    let phase = prop_oneof![
        Just(Phase::Off),
        Just(Phase::Closing),
        Just(Phase::Firing),
        Just(Phase::Test),
    ];
    let cause = prop::sample::select(Cause::ALL.to_vec());
    prop_oneof![
        4 => phase.prop_map(|phase| Happens::Order(GuardOrder::Phase { phase })),
        1 => cause.prop_map(|cause| Happens::Order(GuardOrder::Clear { cause })),
        1 => (any::<bool>(), any::<bool>(), any::<bool>()).prop_map(|(traversing, torch_off_done, crossing)| {
            Happens::Order(GuardOrder::Doing { traversing, torch_off_done, crossing })
        }),
        3 => Just(Happens::HandleAll),
        4 => (0_u64..400).prop_map(Happens::Lease),
        3 => any::<bool>().prop_map(Happens::Fire),
        3 => any::<bool>().prop_map(Happens::Arc),
        1 => any::<bool>().prop_map(Happens::Contact),
        1 => prop::bool::weighted(0.3).prop_map(Happens::Estop),
        1 => prop::bool::weighted(0.3).prop_map(Happens::HoldButton),
        1 => (-5.0_f64..260.0).prop_map(Happens::Volts),
        5 => (1_u64..120).prop_map(Happens::Wait),
        1 => (1400_u64..2600).prop_map(Happens::Wait),
        3 => Just(Happens::FireWell),
    ]
}

/// The guard under test, and what an onlooker knows of it.
struct Watched {
    rules: GuardRules,
    now: Time,
    signals: Signals,
    lease_until: Time,
    asked: Phase,
    latches: BTreeSet<Cause>,
    tripped: u64,
    handled: u64,
    /// Since the last stop these were seen open.
    fire_seen_open: bool,
    arc_seen_open: bool,
    /// Whether it pulsed after the step before.
    pulsed: bool,
    /// Moments of pulses, to see that walks do come to fire.
    highs: u32,
}

impl Watched {
    fn new() -> Self {
        Self {
            rules: GuardRules::new(GuardSettings::default()),
            now: Time::ZERO,
            signals: Signals {
                volts: Some(0.0),
                hold_button: Some(false),
                ..Signals::default()
            },
            lease_until: Time::ZERO,
            asked: Phase::Off,
            latches: BTreeSet::new(),
            tripped: 0,
            handled: 0,
            fire_seen_open: false,
            arc_seen_open: false,
            pulsed: false,
            highs: 0,
        }
    }

    fn happens(&mut self, what: &Happens) -> Result<(), TestCaseError> {
        match what {
            Happens::Order(order) => self.order(order),
            Happens::HandleAll => {
                self.handled = self.tripped;
                self.rules.order(
                    self.now,
                    &GuardOrder::Handled {
                        epoch: self.tripped,
                    },
                );
            }
            Happens::Lease(ms) => self.lease_until = self.now + Duration::from_millis(*ms),
            Happens::Fire(on) => self.signals.fire_on = *on,
            Happens::Arc(on) => self.signals.arc_ok = *on,
            Happens::Contact(on) => self.signals.contact = *on,
            Happens::Estop(open) => self.signals.estop_open = *open,
            Happens::HoldButton(pressed) => self.signals.hold_button = Some(*pressed),
            Happens::Volts(v) => self.signals.volts = Some(*v),
            Happens::Wait(ms) => {
                for _ in 0..*ms {
                    self.step(1)?;
                }
            }
            Happens::FireWell => return self.fire_well(),
        }
        self.step(1)
    }

    fn order(&mut self, order: &GuardOrder) {
        if let GuardOrder::Phase { phase } = order {
            self.asked = *phase;
        }
        self.rules.order(self.now, order);
    }

    fn fire_well(&mut self) -> Result<(), TestCaseError> {
        self.signals = Signals {
            volts: Some(0.0),
            hold_button: Some(false),
            ..Signals::default()
        };
        self.order(&GuardOrder::Phase { phase: Phase::Off });
        self.step(1)?;
        self.happens(&Happens::HandleAll)?;
        self.lease_until = self.now + Duration::from_millis(3000);
        self.order(&GuardOrder::Phase {
            phase: Phase::Closing,
        });
        for _ in 0..60 {
            self.step(1)?;
        }
        self.order(&GuardOrder::Phase {
            phase: Phase::Firing,
        });
        self.step(1)?;
        self.signals.fire_on = true;
        for _ in 0..300 {
            self.step(1)?;
        }
        self.signals.arc_ok = true;
        self.signals.volts = Some(112.0);
        for _ in 0..100 {
            self.step(1)?;
        }
        Ok(())
    }

    fn step(&mut self, ms: u64) -> Result<(), TestCaseError> {
        self.now += Duration::from_millis(ms);
        self.fire_seen_open |= !self.signals.fire_on;
        self.arc_seen_open |= !self.signals.arc_ok;
        let out = self.rules.step(
            self.now,
            &self.signals,
            control::Opened::default(),
            self.lease_until,
        );
        let mut stopped = false;
        for report in &out.reports {
            match report {
                GuardReport::Tripped {
                    cause,
                    epoch,
                    latched,
                    ..
                } => {
                    stopped = true;
                    prop_assert!(*epoch > self.tripped, "an epoch comes once: {report:?}");
                    self.tripped = *epoch;
                    if *latched {
                        self.latches.insert(*cause);
                    }
                }
                GuardReport::Cleared { cause } => {
                    self.latches.remove(cause);
                }
                _ => {}
            }
        }
        if stopped {
            prop_assert!(
                out.take_away,
                "a trip without its take-away bytes at {}",
                self.now
            );
            prop_assert!(
                !out.permit_level,
                "a trip and a pulse in one step at {}",
                self.now
            );
            self.fire_seen_open = !self.signals.fire_on;
            self.arc_seen_open = !self.signals.arc_ok;
        }
        prop_assert_eq!(out.epoch, self.tripped);
        if out.permit_level {
            self.highs += 1;
            let say = format!(
                "a pulse at {}, {:?}, {:?}",
                self.now, self.asked, self.signals
            );
            prop_assert!(self.asked != Phase::Off, "{say}: nobody asks");
            prop_assert!(self.lease_until >= self.now, "{say}: the lease has lapsed");
            prop_assert!(self.latches.is_empty(), "{say}: latched {:?}", self.latches);
            prop_assert!(self.handled >= self.tripped, "{say}: a trip is not handled");
            prop_assert!(
                !self.signals.estop_open,
                "{say}: the emergency stop is open"
            );
            prop_assert!(
                self.fire_seen_open,
                "{say}: fire-on was not seen open since the stop"
            );
            prop_assert!(
                self.pulsed || !(self.signals.fire_on || self.signals.arc_ok),
                "{say}: the first of a train, into a closed start circuit or a burning arc"
            );
            prop_assert!(
                self.arc_seen_open,
                "{say}: arc OK was not seen open since the stop"
            );
        }
        self.pulsed = self.rules.pulsing();
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// S-01, S-03 (the bytes come with the trip), S-16.
    #[test]
    fn whatever_happens_the_permit_pulses_only_while_nothing_speaks_against_it(
        walk in prop::collection::vec(happens(), 1..60),
    ) {
        let mut watched = Watched::new();
        for what in &walk {
            watched.happens(what)?;
        }
    }
}

/// The walks above would prove nothing if none of them ever came to a pulse.
#[test]
fn a_good_firing_is_pulsed_and_ends_when_the_lease_lapses() {
    let mut watched = Watched::new();
    // Inputs are only watched in the first second.
    watched
        .happens(&Happens::Wait(1500))
        .expect("nothing wrong at rest");
    watched.happens(&Happens::FireWell).expect("a good firing");
    assert!(watched.highs > 100, "{} pulses", watched.highs);
    assert!(watched.rules.pulsing());
    watched
        .happens(&Happens::Lease(5))
        .expect("the lease is short");
    watched.happens(&Happens::Wait(20)).expect("and lapses");
    assert!(!watched.rules.pulsing(), "S-01: no lease, no pulses");
}
