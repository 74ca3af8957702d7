//! The page of the dialect, from the controller's side.

use proptest::prelude::*;
use simulator::{Table, TableSettings};
use units::{Point, Time};

use crate::panel::{Panel, framed, plan, square};

fn fresh() -> Panel {
    Panel::ready(1, vec![square(100.0, 200.0)])
}

fn words(panel: &Panel, from: usize) -> Vec<String> {
    let told = panel.heard[from..].iter();
    told.filter(|h| !h.starts_with("at ")).cloned().collect()
}

#[test]
fn before_any_begin_everything_else_is_refused() {
    let mut panel = Panel::bare(TableSettings::default());
    panel.wait(1300);
    assert_eq!(words(&panel, 0), ["hello 1 plain"]);
    panel.raw(&framed("1 M3"));
    panel.wait(50);
    assert_eq!(words(&panel, 1), ["refused 1 epoch begin first"]);
    assert_eq!(
        panel.heard.iter().filter(|h| h.starts_with("at ")).count(),
        1,
        "every 100 ms"
    );
}

#[test]
fn a_begin_said_twice_is_ready_twice_and_changes_nothing() {
    let mut panel = fresh();
    panel.say_done("G0 X50 Y50");
    let from = panel.heard.len();
    panel.raw(&framed("0 begin 1 every 20"));
    panel.wait(50);
    assert_eq!(words(&panel, from), ["ready 1"]);
    assert_eq!(panel.at.e, 2);
}

#[test]
fn a_repeated_line_is_answered_and_not_executed() {
    let mut panel = fresh();
    panel.say_done("G0 X50 Y0");
    panel.say_done("G0 X20 Y0");
    let from = panel.heard.len();
    panel.raw(&framed("2 G0 X50 Y0"));
    panel.wait(500);
    assert_eq!(words(&panel, from), ["taken 3"]);
    assert_eq!(panel.at.x, 20.0);
}

#[test]
fn a_gap_or_a_bad_line_is_asked_for_again_but_not_without_end() {
    let mut panel = fresh();
    let from = panel.heard.len();
    panel.raw(&framed("3 M5"));
    panel.raw(b"040000 2 M5\n");
    panel.raw(b"\n\n");
    panel.wait(15);
    assert_eq!(words(&panel, from), ["again 2"]);
    panel.wait(20);
    panel.raw(b"nonsense\n");
    panel.raw(&framed("2 M5"));
    panel.wait(30);
    assert_eq!(words(&panel, from), ["again 2", "again 2", "taken 2"]);
}

#[test]
fn bare_bytes_act_in_the_middle_of_a_line_and_are_no_part_of_it() {
    let mut panel = fresh();
    panel.say("G0 X300 Y0");
    panel.wait(300);
    let mut line = framed("3 M5");
    line.insert(5, 0x9C);
    line.insert(3, 0xF0);
    let from = panel.heard.len();
    panel.raw(&line);
    panel.wait(1000);
    assert_eq!(words(&panel, from), ["taken 3"]);
    assert_eq!((panel.at.doing.as_str(), panel.at.f), ("hold", 0.0));
    assert!(panel.at.x > 10.0 && panel.at.x < 100.0);
    assert_eq!(panel.at.e, 1, "not ended");
}

#[test]
fn a_hold_brakes_along_the_path_within_the_braking_distance() {
    let mut panel = fresh();
    panel.say("G0 X300 Y0");
    panel.until("full speed", 3000, |p| p.at.f > 11_999.0);
    let at = panel.table.torch().0;
    panel.raw(&[0x9C]);
    panel.wait(700);
    let stood = panel.table.torch().0;
    // v2/2a = 200 x 200 / 800 = 50 mm, and the byte takes 87 us: 0.017 mm.
    assert!(
        (at.distance(stood) - 50.017).abs() < 0.01,
        "{}",
        at.distance(stood)
    );
    panel.wait(500);
    assert_eq!(panel.table.torch().0, stood);
}

#[test]
fn a_torch_off_byte_keeps_the_torch_off_until_begin() {
    let mut panel = fresh();
    panel.say_done("M3");
    panel.wait(10);
    assert!(panel.table.levels().fire_on);
    panel.raw(&[0x87]);
    panel.wait(10);
    assert!(!panel.table.levels().fire_on);
    panel.say_done("M3");
    panel.wait(10);
    assert!(!panel.table.levels().fire_on);
    panel.begin();
    panel.say_done("M3");
    panel.wait(10);
    assert!(panel.table.levels().fire_on);
}

#[test]
fn silence_with_the_torch_on_is_a_dead_panel_after_300_ms_and_not_before() {
    let mut panel = fresh();
    panel.say_done("M3");
    panel.keeps_alive = false;
    let last = panel.now_ms();
    panel.raw(b"\n");
    panel.wait(299);
    assert!(panel.table.levels().fire_on);
    // The byte takes 0.09 ms, the contact 4 ms.
    panel.wait(6);
    assert!(
        !panel.table.levels().fire_on,
        "{} ms",
        panel.now_ms() - last
    );
    panel.wait(50);
    assert!(panel.heard.iter().any(|h| h == "alarm panel silent"));
    assert_eq!(panel.at.doing, "hold");
}

#[test]
fn what_cannot_be_done_is_refused_and_faults_until_begin() {
    for (text, why) in [
        ("G0 X-1 Y0", "travel"),
        ("G1 X1301 Y0 F100", "travel"),
        ("G0 Z-0.1", "travel"),
        ("touch Z-1 F300", "travel"),
        ("G2 X60 Y50 I4 J1 F100", "arc"),
        ("G3 X55 Y50 I0 J0 F100", "arc"),
        ("G3 X50 Y50 I-60 J0 F100", "travel"),
        ("G5 X1 Y1", "words"),
        ("begin 9 every 20", "number"),
    ] {
        let mut panel = fresh();
        panel.say_done("G0 X50 Y50");
        let from = panel.heard.len();
        let number = panel.say(text);
        panel.wait(100);
        let told = words(&panel, from);
        assert!(
            told[0].starts_with(&format!("refused {number} {why} ")),
            "{text}: {told:?}"
        );
        assert_eq!(panel.at.doing, "fault");
        panel.begin();
        panel.say_done("G0 X5 Y5");
    }
}

#[test]
fn motion_before_a_reference_is_refused_but_home_may_come_first() {
    let mut panel = Panel::bare(TableSettings::default());
    panel.wait(1300);
    panel.begin();
    panel.say("home");
    panel.say_done("G0 X10 Y10");
    let mut panel = Panel::bare(TableSettings::default());
    panel.wait(1300);
    panel.begin();
    panel.say("G0 X10 Y10");
    panel.wait(100);
    assert!(
        panel
            .heard
            .iter()
            .any(|h| h.starts_with("refused 1 reference "))
    );
}

#[test]
fn a_stream_of_short_pieces_flows_through_the_buffer_and_the_queue_without_stopping() {
    let mut panel = fresh();
    let last = (1..=400)
        .map(|k| panel.say(&format!("G1 X{:.4} Y0 F1800", f64::from(k) * 0.25)))
        .last()
        .expect("some");
    let from = panel.now_ms();
    let mut slowest = f64::INFINITY;
    while panel.at.e < last {
        assert!(panel.now_ms() < from + 20_000, "{:?}", panel.at);
        panel.tick();
        if panel.now_ms() > from + 200 && panel.at.e < last - 20 {
            slowest = slowest.min(panel.at.f);
        }
        assert!(panel.at.w <= 33);
    }
    assert!(slowest > 1799.0, "{slowest}");
    // 100 mm at 30 mm/s, and 0.04 s for speeding up and slowing down; the wire must keep pace.
    assert!(panel.now_ms() - from < 3600, "{}", panel.now_ms() - from);
}

#[test]
fn it_looks_ahead_through_corners() {
    // 90 degrees: 339 mm/min (handbook 4.6).
    let mut panel = fresh();
    panel.say("G1 X30 Y0 F3000");
    panel.say("G1 X30 Y30 F3000");
    panel.until("the corner", 5000, |p| p.table.torch().0.y > 0.001);
    let (a, y0) = (panel.table.torch().0, panel.now_ms());
    panel.tick();
    let b = panel.table.torch().0;
    let v = a.distance(b) * 1000.0 * 60.0;
    assert!((339.0..=390.0).contains(&v), "{v} at {y0}");
    panel.until("the end", 5000, |p| p.at.e == 3);
    assert_eq!(panel.table.torch().0, Point::new(30.0, 30.0));
}

#[test]
fn more_bytes_than_the_buffer_holds_are_lost_and_asked_for_again() {
    let mut panel = fresh();
    let mut bytes = Vec::new();
    for number in 2..60 {
        bytes.extend(framed(&format!("{number} G1 X{number} Y0 F100")));
    }
    panel.raw(&bytes);
    // It is noticed when the queue has room for what did not come.
    panel.until("asked for again", 20_000, |p| {
        p.heard.iter().any(|h| h.starts_with("again "))
    });
    assert!(panel.wrongs().is_empty());
    panel.raw(&[0x9C]);
    panel.begin();
    panel.say_done("G0 X1 Y1");
}

/// What a table answers to these bytes, in order with pauses.
fn log(seed: u64, noise: f64, chunks: &[(u64, Vec<u8>)]) -> String {
    let mut table = Table::new(TableSettings {
        seed,
        rough: true,
        bit_error_rate: noise,
        ..TableSettings::default()
    });
    table.lay(plan(vec![square(100.0, 200.0)]));
    let mut log = String::new();
    table.advance(Time::from_ms(1300));
    for (pause_us, bytes) in chunks {
        let now = table.now();
        table.wire_in(now, bytes);
        table.advance(Time::from_us(now.as_us() + pause_us));
        log += &format!(
            "{:?} {:?} {:?}\n",
            table.now(),
            table.take_wire_out(),
            table.levels()
        );
    }
    log + &format!("{:?}", table.truth())
}

fn line() -> impl Strategy<Value = Vec<u8>> {
    let text = prop_oneof![
        Just("begin 1 every 20".to_owned()),
        Just("begin 2 every 5".to_owned()),
        Just("home".to_owned()),
        Just("M3".to_owned()),
        Just("M5".to_owned()),
        Just("sense on".to_owned()),
        (-50.0..150.0f64).prop_map(|z| format!("touch Z{z:.3} F900")),
        (0.0..200.0f64, 0.0..200.0f64).prop_map(|(x, y)| format!("G0 X{x:.4} Y{y:.4}")),
        (0.0..9.0f64, 0.0..9.0f64).prop_map(|(x, y)| format!("G1 X{x:.4} Y{y:.4} F6000")),
        (0.1..9.0f64).prop_map(|r| format!("G3 X20 Y20 I{r:.4} J0 F1200")),
    ];
    prop_oneof![
        6 => (0u32..6, text).prop_map(|(n, text)| framed(&format!("{n} {text}"))),
        1 => proptest::collection::vec(any::<u8>(), 0..300),
        1 => Just(vec![0x9C]),
        1 => Just(vec![0x87]),
        1 => Just(b"\n".to_vec()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn whatever_comes_over_the_wire_it_goes_on_and_the_same_seed_tells_the_same(
        seed in any::<u64>(),
        noise in prop_oneof![Just(0.0), Just(1e-3)],
        chunks in proptest::collection::vec((0u64..150_000, line()), 1..40),
    ) {
        let once = log(seed, noise, &chunks);
        prop_assert_eq!(&once, &log(seed, noise, &chunks));
        prop_assert!(!once.contains("executed twice") && !once.contains("never executed"));
    }

    #[test]
    fn nothing_is_seen_before_the_next_event(
        seed in any::<u64>(),
        chunks in proptest::collection::vec((0u64..60_000, line()), 1..20),
    ) {
        let mut table = Table::new(TableSettings { seed, ..TableSettings::default() });
        table.lay(plan(vec![square(100.0, 200.0)]));
        table.advance(Time::from_ms(1300));
        for (pause_us, bytes) in chunks {
            let now = table.now();
            table.wire_in(now, &bytes);
            let end = Time::from_us(now.as_us() + pause_us);
            while table.now() < end {
                let next = table.next_event();
                let before = table.levels();
                if next.as_us() > table.now().as_us() + 1 {
                    table.advance(Time::from_us(next.as_us() - 1).min(end));
                    prop_assert!(before.same_contacts(&table.levels()), "{before:?} {:?}", table.levels());
                    prop_assert!(!table.has_bytes());
                }
                table.advance(Time::from_us(table.now().as_us() + 1));
                table.take_wire_out();
            }
        }
    }
}
