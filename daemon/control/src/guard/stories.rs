//! Guard stories, told with a clock moved by hand.

use core::time::Duration;

use proptest::prelude::*;
use units::Time;

use super::{EdgeInput, GuardOrder, GuardReport, GuardRules, GuardSettings, Phase};
use crate::cause::Cause;
use crate::signals::{Opened, Signals};

mod late;
mod limits;
mod permit;

struct Told {
    rules: GuardRules,
    now: Time,
    s: Signals,
    /// What opened briefly since the last step.
    opened: Opened,
    lease_ms: u64,
    reports: Vec<GuardReport>,
    levels: Vec<(Time, bool)>,
    take_aways: u32,
}

impl Told {
    fn new() -> Self {
        Self::on(GuardSettings::default())
    }

    fn on(settings: GuardSettings) -> Self {
        Self {
            rules: GuardRules::new(settings),
            now: Time::from_ms(5000),
            s: Signals {
                permit_closed: Some(false),
                hold_button: Some(false),
                gate_closed: Some(true),
                ..Signals::default()
            },
            opened: Opened::default(),
            lease_ms: 200,
            reports: Vec::new(),
            levels: Vec::new(),
            take_aways: 0,
        }
    }

    fn step(&mut self) {
        let lease = self.now + Duration::from_millis(self.lease_ms);
        self.step_leased(lease);
    }

    fn step_leased(&mut self, lease: Time) {
        let opened = core::mem::take(&mut self.opened);
        let out = self.rules.step(self.now, &self.s, opened, lease);
        self.levels.push((self.now, out.permit_level));
        self.take_aways += u32::from(out.take_away);
        self.reports.extend(out.reports);
    }

    fn wait(&mut self, ms: u64) {
        for _ in 0..ms {
            self.now += Duration::from_millis(1);
            self.step();
        }
    }

    fn phase(&mut self, phase: Phase) {
        self.rules.order(self.now, &GuardOrder::Phase { phase });
        self.step();
    }

    fn doing(&mut self, traversing: bool, torch_off_done: bool, crossing: bool) {
        self.rules.order(
            self.now,
            &GuardOrder::Doing {
                traversing,
                torch_off_done,
                crossing,
            },
        );
    }

    /// Trips so far: cause, and how many ms ago the moment was that they name.
    fn trips(&self) -> Vec<(Cause, u128)> {
        self.reports
            .iter()
            .filter_map(|r| match r {
                GuardReport::Tripped { cause, at, .. } => {
                    Some((*cause, self.now.since(*at).as_millis()))
                }
                _ => None,
            })
            .collect()
    }

    fn handle(&mut self) {
        let epoch = self.trips().len() as u64;
        self.rules.order(self.now, &GuardOrder::Handled { epoch });
    }

    fn firing() -> Self {
        Self::firing_on(GuardSettings::default())
    }

    fn firing_on(settings: GuardSettings) -> Self {
        let mut t = Self::on(settings);
        t.wait(1200);
        t.phase(Phase::Closing);
        t.s.permit_closed = Some(true);
        t.wait(20);
        t.phase(Phase::Firing);
        t.wait(5);
        t.s.fire_on = true;
        t.wait(1);
        t
    }

    fn cutting() -> Self {
        Self::cutting_on(GuardSettings::default())
    }

    fn cutting_on(settings: GuardSettings) -> Self {
        let mut t = Self::firing_on(settings);
        t.wait(350);
        t.s.arc_ok = true;
        t.wait(500);
        assert_eq!(t.trips(), vec![]);
        assert!(t.rules.pulsing());
        t
    }
}

#[test]
fn the_permit_is_a_square_wave_of_100_hz() {
    let mut t = Told::new();
    t.wait(10);
    t.levels.clear();
    t.phase(Phase::Closing);
    t.wait(100);
    let edges: Vec<u128> = t
        .levels
        .windows(2)
        .filter(|w| w[0].1 != w[1].1)
        .map(|w| w[1].0.since(t.levels[0].0).as_millis())
        .collect();
    assert_eq!(edges, (1..=20).map(|k| k * 5).collect::<Vec<_>>());
}

#[test]
fn no_arc_trips_a_second_and_a_half_after_fire_on_and_not_a_step_before() {
    let mut t = Told::firing();
    t.wait(1499);
    assert_eq!(t.trips(), vec![]);
    t.wait(1);
    assert_eq!(t.trips(), vec![(Cause::NoArc, 0)]);
    assert!(!t.rules.pulsing());
    assert_eq!(t.take_aways, 1);
    assert_eq!(t.rules.latches().count(), 0);
}

#[test]
fn an_arc_lost_for_30_ms_trips_and_names_the_first_edge() {
    let mut t = Told::cutting();
    t.s.arc_ok = false;
    t.wait(30);
    assert_eq!(t.trips(), vec![]);
    t.wait(1);
    assert_eq!(t.trips(), vec![(Cause::ArcLost, 30)]);
}

#[test]
fn a_shorter_gap_in_the_arc_is_no_loss_and_a_crossing_stands_80_ms() {
    let mut t = Told::cutting();
    t.s.arc_ok = false;
    t.wait(29);
    t.s.arc_ok = true;
    t.wait(100);
    assert_eq!(t.trips(), vec![]);
    t.doing(false, false, true);
    t.s.arc_ok = false;
    t.wait(80);
    assert_eq!(t.trips(), vec![]);
    t.wait(1);
    assert_eq!(t.trips(), vec![(Cause::ArcLost, 80)]);
}

#[test]
fn a_fire_that_drops_is_a_trip_unless_torch_off_is_confirmed_in_time() {
    let mut t = Told::cutting();
    t.s.fire_on = false;
    t.s.arc_ok = false;
    t.wait(150);
    assert_eq!(t.trips(), vec![]);
    t.wait(1);
    assert_eq!(t.trips(), vec![(Cause::FireDropped, 150)]);

    let mut t = Told::cutting();
    t.s.fire_on = false;
    t.s.arc_ok = false;
    t.wait(60);
    t.doing(false, true, false);
    t.wait(300);
    assert_eq!(t.trips(), vec![]);
}

#[test]
fn an_arc_that_stays_half_a_second_after_the_fire_latches() {
    let mut t = Told::cutting();
    t.doing(false, true, false);
    t.s.fire_on = false;
    t.wait(500);
    assert_eq!(t.trips(), vec![]);
    t.wait(1);
    assert_eq!(t.trips()[0].0, Cause::ArcStuck);
    assert_eq!(t.rules.latches().collect::<Vec<_>>(), vec![Cause::ArcStuck]);
}

#[test]
fn an_arc_that_stays_after_the_permit_was_withdrawn_latches() {
    let mut t = Told::cutting();
    t.phase(Phase::Off);
    t.wait(501);
    assert!(t.trips().iter().any(|(c, _)| *c == Cause::ArcStuck));
}

#[test]
fn a_fire_that_stays_half_a_second_after_torch_off_is_unasked_and_ends_the_pulses() {
    let mut t = Told::cutting();
    t.doing(false, true, false);
    t.wait(499);
    assert_eq!(t.trips(), vec![]);
    assert!(t.rules.pulsing());
    t.wait(2);
    assert_eq!(t.trips()[0].0, Cause::UnaskedFire);
    assert!(!t.rules.pulsing());
}

#[test]
fn after_a_stop_a_fire_is_judged_only_once_torch_off_was_taken() {
    let mut t = Told::cutting();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.s.arc_ok = false;
    assert_eq!(t.trips(), vec![(Cause::Hold, 0)]);
    // The link is down: shown, not latched.
    t.wait(3000);
    assert_eq!(t.trips().len(), 1);
    t.doing(false, true, false);
    t.wait(499);
    assert_eq!(t.trips().len(), 1);
    t.wait(1);
    assert_eq!(t.trips()[1].0, Cause::UnaskedFire);
}

#[test]
fn a_fire_at_rest_or_while_closing_is_unasked() {
    let mut t = Told::new();
    t.wait(1200);
    t.phase(Phase::Closing);
    t.wait(10);
    t.s.fire_on = true;
    t.wait(6);
    assert_eq!(t.trips(), vec![(Cause::UnaskedFire, 5)]);
}

#[test]
fn after_a_stop_the_permit_waits_for_both_to_be_seen_open() {
    let mut t = Told::cutting();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.s.hold_button = Some(false);
    t.handle();
    t.s.fire_on = false;
    t.phase(Phase::Closing);
    t.wait(20);
    assert!(!t.rules.pulsing(), "the arc was not seen out");
    t.s.arc_ok = false;
    t.wait(1);
    assert!(t.rules.pulsing());
    assert_eq!(t.trips(), vec![(Cause::Hold, 21)]);
}

#[test]
fn an_unhandled_trip_bars_the_permit() {
    let mut t = Told::new();
    t.s.hold_button = Some(true);
    t.wait(1);
    t.phase(Phase::Closing);
    t.wait(20);
    assert!(!t.rules.pulsing());
    t.handle();
    t.wait(1);
    assert!(!t.rules.pulsing(), "the button is pressed still");
    t.s.hold_button = Some(false);
    t.wait(1);
    assert!(t.rules.pulsing());
}

#[test]
fn a_lapsed_lease_ends_the_pulses_and_latches() {
    let mut t = Told::cutting();
    let lease = t.now + Duration::from_millis(200);
    for _ in 0..200 {
        t.now += Duration::from_millis(1);
        t.step_leased(lease);
    }
    assert_eq!(t.trips(), vec![]);
    t.now += Duration::from_millis(1);
    t.step_leased(lease);
    assert_eq!(t.trips()[0].0, Cause::LeaseLapsed);
    assert!(!t.rules.pulsing());
}

#[test]
fn contact_while_travelling_is_a_collision_and_a_flicker_is_not() {
    let mut t = Told::new();
    t.doing(true, false, false);
    t.s.contact = true;
    t.wait(9);
    t.s.contact = false;
    t.wait(20);
    assert_eq!(t.trips(), vec![]);
    t.s.contact = true;
    t.wait(11);
    assert_eq!(t.trips(), vec![(Cause::TorchTouched, 10)]);
}

#[test]
fn a_latch_is_cleared_by_request_alone_and_only_when_its_cause_has_gone() {
    let mut t = Told::new();
    t.s.estop_open = true;
    t.wait(1);
    let clear = GuardOrder::Clear {
        cause: Cause::Estop,
    };
    t.rules.order(t.now, &clear);
    t.wait(1);
    assert!(t.reports.contains(&GuardReport::StillThere {
        cause: Cause::Estop
    }));
    t.s.estop_open = false;
    t.wait(10_000);
    assert_eq!(t.rules.latches().count(), 1, "not by time");
    t.rules.order(t.now, &clear);
    t.wait(1);
    assert_eq!(t.rules.latches().count(), 0);
}

#[test]
fn a_permit_test_pulls_and_drops_the_relay_once() {
    let mut t = Told::new();
    t.wait(10);
    t.phase(Phase::Test);
    t.wait(15);
    assert!(t.rules.pulsing());
    t.s.permit_closed = Some(true);
    t.wait(60);
    assert!(!t.rules.pulsing());
    t.s.permit_closed = Some(false);
    t.wait(1);
    let tested = |passed| GuardReport::Tested { passed };
    assert!(t.reports.contains(&tested(Some(true))));

    let mut t = Told::new();
    t.wait(10);
    t.phase(Phase::Test);
    t.wait(301);
    assert!(t.reports.contains(&tested(Some(false))));
    assert!(!t.rules.pulsing());

    let mut t = Told::new();
    t.s.permit_closed = None;
    t.wait(10);
    t.phase(Phase::Test);
    t.wait(301);
    assert!(t.reports.contains(&tested(None)));
}

#[test]
fn a_relay_that_does_not_drop_fails_the_test() {
    let mut t = Told::new();
    t.wait(10);
    t.phase(Phase::Test);
    t.s.permit_closed = Some(true);
    t.wait(120);
    assert!(t.reports.contains(&GuardReport::Tested {
        passed: Some(false)
    }));
}

#[test]
fn edges_are_told_at_their_first_moment() {
    let mut t = Told::new();
    t.wait(3);
    t.s.contact = true;
    t.wait(1);
    assert_eq!(
        t.reports,
        vec![GuardReport::Edge {
            input: EdgeInput::Contact,
            level: true,
            at: t.now,
            after: None,
        }]
    );
}

fn random_walk() -> impl Strategy<Value = Vec<(u8, u64)>> {
    prop::collection::vec((0_u8..16, 1_u64..400), 1..60)
}

fn play(t: &mut Told, what: u8, ms: u64) {
    match what {
        0 => t.phase(Phase::Off),
        1 => t.phase(Phase::Closing),
        2 => t.phase(Phase::Firing),
        3 => t.phase(Phase::Test),
        4 => t.s.fire_on = !t.s.fire_on,
        5 => t.s.arc_ok = !t.s.arc_ok,
        6 => t.s.contact = !t.s.contact,
        7 => t.s.permit_closed = t.s.permit_closed.map(|c| !c),
        8 => t.s.gate_closed = t.s.gate_closed.map(|c| !c),
        9 => t.s.hold_button = t.s.hold_button.map(|c| !c),
        10 => t.handle(),
        11 => t.doing(ms & 1 == 0, ms & 6 == 6, ms & 12 == 12),
        12 => {
            for cause in Cause::ALL {
                t.rules.order(t.now, &GuardOrder::Clear { cause });
            }
        }
        13 => t.lease_ms = ms,
        _ => {}
    }
    t.wait(ms.min(60));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn from_any_state_the_emergency_stop_ends_the_pulses_in_the_same_step(walk in random_walk()) {
        let mut t = Told::new();
        for (what, ms) in walk {
            play(&mut t, what, ms);
        }
        t.s.estop_open = true;
        t.reports.clear();
        t.take_aways = 0;
        t.wait(1);
        prop_assert!(!t.rules.pulsing());
        prop_assert_eq!(t.levels.last().map(|l| l.1), Some(false));
        prop_assert_eq!(t.take_aways, 1);
        prop_assert!(t.trips().iter().any(|(c, ago)| *c == Cause::Estop && *ago == 0));
        t.wait(50);
        prop_assert!(!t.rules.pulsing());
    }

    #[test]
    fn no_pulse_with_a_latch_and_a_train_begins_only_with_fire_and_arc_open(walk in random_walk()) {
        let mut t = Told::new();
        for (what, ms) in walk {
            let before = t.rules.pulsing();
            play(&mut t, what, ms);
            prop_assert!(!t.rules.pulsing() || t.rules.latches().count() == 0);
            if !before && t.rules.pulsing() && ms == 1 {
                prop_assert!(!t.s.fire_on && !t.s.arc_ok);
            }
        }
    }
}
