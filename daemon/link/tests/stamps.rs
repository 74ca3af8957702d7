//! The place of an input's edge: heard once, however often it is told and whatever the wire does.

mod model;

use std::collections::BTreeMap;
use std::sync::Arc;

use link::{Dialect, PLAIN, Session, Stamped, StampedInput, Word};
use model::{Noise, framed};
use proptest::prelude::*;
use units::{Point, Time};

const QUILL: &str = include_str!("../../../config/dialects/quill.toml");

fn session(text: &str) -> Session {
    let dialect = Dialect::from_toml(text).expect("a dialect");
    let mut session = Session::new(Arc::new(dialect), 115_200);
    session.opened(Time::ZERO);
    session
}

fn stamps(words: &[Word]) -> Vec<Stamped> {
    let stamp = |w: &Word| match w {
        Word::Stamped(s) => Some(s.clone()),
        _ => None,
    };
    words.iter().filter_map(stamp).collect()
}

/// An edge of our own making, number `n`.
fn edge(n: u64) -> String {
    format!(
        "edge {n} arc {} x{}.125 y-{n}.5 u{}",
        n % 2,
        n * 3,
        1000 + n * 7
    )
}

#[test]
fn a_stamp_has_place_level_input_and_time() {
    let mut session = session(PLAIN);
    let mut words = Vec::new();
    session.receive(
        Time::from_ms(5),
        &framed("edge 4 arc 0 x321.407 y-0.5 u90125"),
        &mut words,
    );
    assert_eq!(
        words,
        [Word::Stamped(Stamped {
            number: 4,
            input: StampedInput::ArcOk,
            level: false,
            place: Point::new(321.407, -0.5),
            up_ms: 90_125,
            heard_at: Time::from_ms(5),
        })]
    );
}

#[test]
fn an_edge_told_again_is_not_given_again_even_after_another_and_in_another_epoch() {
    let mut session = session(PLAIN);
    let mut words = Vec::new();
    let now = Time::from_ms(5);
    for n in [1, 1, 2, 1, 2, 1] {
        session.receive(now, &framed(&edge(n)), &mut words);
    }
    session.flush(now);
    session.receive(now, &framed(&edge(2)), &mut words);
    let numbers: Vec<u64> = stamps(&words).iter().map(|s| s.number).collect();
    assert_eq!(numbers, [1, 2]);
}

#[test]
fn after_a_reset_the_same_number_is_another_edge() {
    let mut session = session(PLAIN);
    let mut words = Vec::new();
    let now = Time::from_ms(5);
    session.receive(now, &framed("edge 1 arc 1 x1 y1 u5000"), &mut words);
    session.receive(now, &framed("hello 2 plain"), &mut words);
    session.receive(now, &framed("edge 1 arc 1 x1 y1 u1300"), &mut words);
    assert_eq!(stamps(&words).len(), 2);
}

#[test]
fn what_is_no_stamp_of_a_named_input_is_counted_and_gives_nothing() {
    for body in [
        "edge 1 door 1 x1 y1 u5000",
        "edge 1 arc 2 x1 y1 u5000",
        "edge 1 arc 1 x1.1.1 y1 u5000",
        "edge 1 arc 1 x1 y1 u99999999999999999999999",
        "edge 1 arc 1 x1 y1",
        "edge -1 arc 1 x1 y1 u5",
    ] {
        let mut session = session(PLAIN);
        let mut words = Vec::new();
        session.receive(Time::ZERO, &framed(body), &mut words);
        assert_eq!(words, [], "{body}");
        assert_eq!(session.counters().not_understood, 1, "{body}");
    }
}

#[test]
fn a_dialect_may_stamp_in_its_own_units_words_and_order() {
    let text = QUILL.replace(
        "[states]",
        "[stamps]\nlength_unit = \"inch\"\nyes = [\"down\"]\ninputs = { tip = \"contact\" }\n\n[states]",
    ) + "\n[[answer]]\nmeans = \"stamp\"\npattern = '^(?<level>up|down) (?<input>[a-z]+) at (?<y>\\S+) (?<x>\\S+) no (?<number>\\d+) ms (?<up_ms>\\d+)$'\n";
    let mut session = session(&text);
    let mut words = Vec::new();
    session.receive(Time::ZERO, b"down tip at 2 1 no 9 ms 12\r\n", &mut words);
    let [stamp] = &stamps(&words)[..] else {
        panic!("one stamp: {words:?}");
    };
    assert_eq!(stamp.place, Point::new(25.4, 50.8));
    assert_eq!((stamp.input, stamp.level), (StampedInput::Contact, true));
}

proptest! {
    // Kept low enough that a check of 16 bits passing a spoilt line is not to be expected.
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Each edge is told three times among reports, over a wire that flips, drops and doubles
    /// bytes, in pieces of any length.
    #[test]
    fn over_a_bad_wire_every_stamp_is_true_and_given_once(
        seed: u64,
        flip in 0_u64..3000,
        drop in 0_u64..1000,
        pieces in proptest::collection::vec(1_usize..40, 1..200),
        edges in 1_u64..80,
    ) {
        let mut noise = Noise::new(seed, flip, drop, drop);
        let mut bytes = Vec::new();
        for n in 0..edges + 2 {
            for m in [n, n.wrapping_sub(1), n.wrapping_sub(2)] {
                if m < edges {
                    bytes.extend(framed(&edge(m)));
                }
            }
            bytes.extend(framed("at x1.5 y-2 z3 f0.0 idle e0 w0 q0 t0 r1 u12"));
        }
        let bytes = noise.disturb(bytes);
        let mut session = session(PLAIN);
        let mut words = Vec::new();
        let mut rest = &bytes[..];
        for piece in pieces.iter().cycle() {
            if rest.is_empty() {
                break;
            }
            let (now, later) = rest.split_at((*piece).min(rest.len()));
            session.receive(Time::ZERO, now, &mut words);
            rest = later;
        }
        let mut given = BTreeMap::new();
        for stamp in stamps(&words) {
            let n = stamp.number;
            prop_assert!(n < edges, "an edge that never was: {stamp:?}");
            prop_assert_eq!(stamp.level, n % 2 == 1);
            prop_assert_eq!(stamp.place, Point::new((n * 3) as f64 + 0.125, -(n as f64 + 0.5)));
            prop_assert_eq!(stamp.up_ms, 1000 + n * 7);
            *given.entry(n).or_insert(0) += 1;
        }
        prop_assert!(given.values().all(|times| *times == 1), "{given:?}");
        if flip + drop == 0 {
            prop_assert_eq!(given.len() as u64, edges);
        }
    }
}
