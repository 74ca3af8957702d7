//! Vetting beside a running machine: at the lowest priority of the system, on two threads, and stopped when nobody waits for it any more.
//!
//! It must never hold up the machine's own task or the guard. If the power goes, nothing is lost: a
//! program is vetted again when it is chosen again.

use std::collections::VecDeque;
use std::panic::resume_unwind;
use std::sync::mpsc::{channel, sync_channel};
use std::sync::{Mutex, OnceLock, PoisonError};
use std::thread;

use planning::{Draft, Predicted};
use program::{Judging, Reading, ReadingRules, Scanner, Vetting, Watch};

/// Lower than anything else (the highest nice value).
const NICEST: i32 = 19;

/// Does some work on a thread of its own at the lowest priority; threads that it starts inherit it.
pub fn at_lowest_priority<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    let lowered = || {
        // Without the right to lower it (there is no system that denies that) it runs as it is.
        let _ = rustix::process::setpriority_process(None, NICEST);
        work()
    };
    let done = thread::scope(|scope| scope.spawn(lowered).join());
    done.unwrap_or_else(|panic| resume_unwind(panic))
}

/// Shorter programs are read before a second thread had begun, bytes.
const WORTH_A_THREAD: usize = 64 << 10;
/// So many rounds of lines may lie scanned and not yet read: they bound what the scanner may run ahead.
const AHEAD: usize = 2;

/// Reads a program: its lines are scanned into words on a thread of their own, ahead of what the words mean.
pub(super) fn read(text: &[u8], rules: &ReadingRules) -> Reading {
    if text.len() < WORTH_A_THREAD {
        return program::read(text, rules);
    }
    thread::scope(|scope| {
        let (scanned, lines) = sync_channel(AHEAD);
        let (done, room) = channel();
        scope.spawn(move || {
            let mut scanner = Scanner::new(text);
            while let Some(lines) = scanner.next(room.try_recv().unwrap_or_default()) {
                // Read to its end, which need not be the text's: nobody wants more.
                if scanned.send(lines).is_err() {
                    break;
                }
            }
        });
        program::read_scanned(text, rules, move |read| {
            // The scanner may have come to its end: then nobody needs the room.
            let _ = done.send(read);
            lines.recv().ok()
        })
    })
}

/// Vets a draft and predicts its times and supplies, on two threads: one works the geometry out and begins with
/// the rules that judge by the sheet alone, the other predicts; then both draw rules, from the two ends of
/// their list. `None`: nobody waits for it any more.
pub(super) fn vetted(draft: &Draft<'_>, watch: &dyn Watch) -> Option<(Vetting, Predicted)> {
    let predicted = OnceLock::new();
    let judging = OnceLock::new();
    let rules = Mutex::new(VecDeque::new());
    let rules = || rules.lock().unwrap_or_else(PoisonError::into_inner);
    let found = thread::scope(|scope| {
        let (predicted, judging, rules) = (&predicted, &judging, &rules);
        // Each is dropped by a thread that ends by a panic, so that the other never waits in vain.
        let (drawn, is_drawn) = channel();
        let (told, is_told) = channel::<()>();
        let other = scope.spawn(move || {
            let predicted = predicted.get_or_init(|| Predicted::new(draft, watch));
            is_drawn.recv().ok()?;
            let judging: &Judging<'_> = judging.get()?;
            judging.tell(predicted.facts(draft));
            drop(told);
            Some(judging.judge(|| rules().pop_back()))
        });
        let judging = judging.get_or_init(|| draft.judging(watch));
        *rules() = judging.rules();
        // The other thread may have ended by a panic, which is met below.
        let _ = drawn.send(());
        let one = judging.judge(|| {
            if rules().front().is_some_and(|rule| judging.waits(rule)) {
                let _ = is_told.recv();
            }
            let mut rules = rules();
            rules.pop_front().filter(|rule| !judging.waits(rule))
        });
        let other = other.join().unwrap_or_else(|panic| resume_unwind(panic));
        [Some(one), other]
    });
    let vetting = watch.go_on().then(|| judging.into_inner())??;
    let vetting = vetting.whole(found.into_iter().flatten());
    Some((vetting, predicted.into_inner()?)).filter(|_| watch.go_on())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::job::watched;
    use program::Unwatched;

    #[test]
    fn work_at_the_lowest_priority_leaves_the_callers_own_alone() {
        let own = || rustix::process::getpriority_process(None).expect("a priority");
        let before = own();
        assert_eq!(at_lowest_priority(own), NICEST);
        assert_eq!(own(), before);
    }

    #[test]
    fn rules_side_by_side_say_what_one_after_the_other_says() {
        let demo = crate::library::demo("hinge-plates").expect("built in");
        let config = Config::built_in();
        let table = config.table();
        let reading = read(&demo.text, &table.words);
        let draft = Draft::new(&table, reading, Some(demo.setup), false);
        let predicted = Predicted::new(&draft, &Unwatched);
        let judging = draft.judging(&Unwatched);
        judging.tell(predicted.facts(&draft));
        let mut rules = judging.rules();
        let found = judging.judge(|| rules.pop_front());
        let one_by_one = judging.whole([found]);
        let (together, _) = vetted(&draft, &Unwatched).expect("not stopped");
        assert_eq!(together.report, one_by_one.report);
        assert_eq!(together.loose, one_by_one.loose);
    }

    #[test]
    fn scanned_ahead_a_program_reads_as_line_by_line() {
        let rules = ReadingRules::default();
        // Longer than all that may lie scanned; with faults, an end in its middle, and words behind it.
        let mut text = b"G21 G90\r\nG0 X1 Y1\nM3\n".to_vec();
        for k in 0..9_000 {
            let line = match k {
                1_000 => "G1 X1,5\n".to_owned(),
                2_000 => "(open\n".to_owned(),
                8_500 => "M5\nM30\n".to_owned(),
                _ => format!("G1 X{} Y{} F1100\n", k % 90, k % 77),
            };
            text.extend_from_slice(line.as_bytes());
        }
        assert!(text.len() > WORTH_A_THREAD);
        let (ahead, plain) = (read(&text, &rules), program::read(&text, &rules));
        assert_eq!(format!("{ahead:?}"), format!("{plain:?}"));
        assert_eq!(ahead.lines, 8_505);
        assert!(ahead.findings.iter().any(|f| f.rule == "after-end"));
        // A text that is refused before its first line leaves the scanner alone.
        let noise: Vec<u8> = (0..WORTH_A_THREAD).map(|k| (k % 7) as u8).collect();
        assert!(!read(&noise, &rules).is_program);
    }

    #[test]
    fn what_nobody_waits_for_is_stopped() {
        let demo = crate::library::demo("hinge-plates").expect("built in");
        let config = Config::built_in();
        let make = |watch: &dyn Watch| {
            let text = demo.text.as_slice().into();
            watched(&config, "x", text, Some(demo.setup.clone()), false, watch)
        };
        assert!(make(&Unwatched).is_some());
        struct Gone;
        impl Watch for Gone {
            fn go_on(&self) -> bool {
                false
            }
        }
        assert!(make(&Gone).is_none());
    }
}
