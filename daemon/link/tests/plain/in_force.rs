//! Words that stay in force, as `plain` has them.

use link::{Command, Word};
use units::{Point, Segment, Time};

use crate::model::Noise;
use crate::{Table, arc, dialect, golden, sent_for, short_line};

#[test]
fn words_in_force_are_left_out_byte_for_byte_as_the_golden_file_has_it() {
    let at = |x, y| Point::new(x, y);
    let path = |segment, mm_min: f64| Command::Path {
        segment,
        mm_s: mm_min / 60.0,
    };
    let line = |from, to| Segment::Line { from, to };
    let sent = sent_for(
        dialect(),
        vec![
            Command::TorchOn,
            path(line(at(0.0, 0.0), at(1.0, 2.0)), 660.0),
            path(line(at(1.0, 2.0), at(3.0, 2.0)), 660.0),
            path(arc(at(3.0, 2.0), at(3.0, 2.0), -5.775, 0.0, false), 660.0),
            path(arc(at(3.0, 2.0), at(3.0, 4.0), 0.0, 1.0, false), 660.0),
            path(line(at(3.0, 4.0), at(5.0, 4.0)), 700.0),
            Command::TorchOff,
            path(line(at(5.0, 4.0), at(6.0, 4.0)), 700.0),
        ],
    );
    assert_eq!(
        sent,
        golden(include_str!("../golden/plain-in-force-to-controller.txt"))
    );
}

/// A line of a long path at one feed.
fn even_line(i: usize) -> Command {
    let Command::Path { segment, .. } = short_line(i) else {
        unreachable!("a line");
    };
    Command::Path {
        segment,
        mm_s: 11.0,
    }
}

#[test]
fn a_controller_that_forgets_the_words_in_force_refuses_and_nothing_goes_wrong_by_a_guess() {
    let mut table = Table::new(3000, Noise::none());
    for i in 0..200 {
        table.session.say(even_line(i));
    }
    table.until("under way", |t| t.controller.done.len() == 40);
    assert!(table.controller.shortened > 30, "words were left out");
    table.controller.forget();
    let refused = |t: &Table| t.words.iter().any(|w| matches!(w, Word::Refused { .. }));
    table.until("refused", refused);
    // The new epoch begins with a line that stands by itself.
    table.session.flush(Time::from_us(table.now_us));
    let next = table.session.say(even_line(300));
    table.until("executed", |t| t.executed() == Some(next));
    assert!(
        table
            .controller
            .done
            .iter()
            .all(|(_, _, t)| t.ends_with(" F660"))
    );
}

#[test]
fn after_a_pause_in_a_path_the_next_line_stands_by_itself() {
    let mut table = Table::new(1000, Noise::none());
    table.until("ready", |t| t.session.ready());
    for (i, pause_ms, short) in [(0, 60, 0), (1, 60, 1), (2, 140, 2), (3, 60, 2), (4, 60, 3)] {
        table.session.say(even_line(i));
        let now = table.now_us;
        table.until("later", |t| t.now_us > now + pause_ms * 1000);
        assert_eq!(table.controller.shortened, short, "line {i}");
    }
}
