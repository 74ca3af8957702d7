//! Vetting beside a running machine: at the lowest priority of the system, in two halves on two
//! threads, and stopped when nobody waits for it any more.
//!
//! It must never hold up the machine's own task or the guard. If the power goes, nothing is lost: a
//! program is vetted again when it is chosen again.

use std::panic::resume_unwind;
use std::thread;

use program::{Judging, Reading, VetInput, Vetting, Watch};

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

/// Vets a program whose kerf compensation was carried out, its halves side by side. `None`: nobody
/// waits for it any more.
pub(super) fn vetted(
    reading: &Reading,
    input: &VetInput<'_>,
    watch: &dyn Watch,
) -> Option<Vetting> {
    let judging = Judging::new(reading, input, watch);
    let [one, other] = judging.halves();
    let found = thread::scope(|scope| {
        let one = scope.spawn(|| judging.judge(&one));
        let other = judging.judge(&other);
        let one = one.join().unwrap_or_else(|panic| resume_unwind(panic));
        [one, other]
    });
    let vetting = watch.go_on().then(|| judging.whole(found))?;
    watch.go_on().then_some(vetting)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::job::Prepared;

    #[test]
    fn work_at_the_lowest_priority_leaves_the_callers_own_alone() {
        let own = || rustix::process::getpriority_process(None).expect("a priority");
        let before = own();
        assert_eq!(at_lowest_priority(own), NICEST);
        assert_eq!(own(), before);
    }

    #[test]
    fn halves_side_by_side_say_what_one_after_the_other_says() {
        let demo = crate::library::demo("hinge-plates").expect("built in");
        let reading = program::read(&demo.text, &program::ReadingRules::default());
        let input = VetInput {
            setup: Some(&demo.setup),
            travel: units::Point::new(1300.0, 1300.0),
            sheet_corner: units::Point::new(10.0, 10.0),
            kerf_mm: Some(1.45),
            chart_feed_mm_s: Some(18.3),
            traverse_height_mm: 12.0,
            line_limit: 30,
            no_row: None,
            facts: program::Facts::default(),
        };
        let one_by_one = program::vet_in_full(&reading, &input);
        let together = vetted(&reading, &input, &program::Unwatched).expect("not stopped");
        assert_eq!(together.report, one_by_one.report);
        assert_eq!(together.loose, one_by_one.loose);
    }

    #[test]
    fn what_nobody_waits_for_is_stopped() {
        let demo = crate::library::demo("hinge-plates").expect("built in");
        let config = Config::built_in();
        let make = |watch: &dyn Watch| {
            Prepared::watched(
                &config,
                "x",
                &demo.text,
                Some(demo.setup.clone()),
                false,
                watch,
            )
        };
        assert!(make(&program::Unwatched).is_some());
        struct Gone;
        impl Watch for Gone {
            fn go_on(&self) -> bool {
                false
            }
        }
        assert!(make(&Gone).is_none());
    }
}
