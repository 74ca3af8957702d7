//! Vetting beside a running machine: at the lowest priority of the system, in two halves on two
//! threads, and stopped when nobody waits for it any more.
//!
//! It must never hold up the machine's own task or the guard. If the power goes, nothing is lost: a
//! program is vetted again when it is chosen again.

use std::panic::resume_unwind;
use std::thread;

use planning::{Draft, Predicted};
use program::{Vetting, Watch};

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

/// Vets a draft and predicts its times and supplies: first the geometry beside the prediction, then
/// the rules in two halves side by side. `None`: nobody waits for it any more.
pub(super) fn vetted(draft: &Draft<'_>, watch: &dyn Watch) -> Option<(Vetting, Predicted)> {
    let (predicted, judging) = beside(|| Predicted::new(draft, watch), || draft.judging(watch));
    let vetting = {
        let judging = judging.knowing(predicted.facts(draft));
        let [one, other] = judging.halves();
        let (one, other) = beside(|| judging.judge(&one), || judging.judge(&other));
        watch.go_on().then(|| judging.whole([one, other]))?
    };
    watch.go_on().then_some((vetting, predicted))
}

/// Does two pieces of work, the first on a thread of its own.
fn beside<A: Send, B>(one: impl FnOnce() -> A + Send, other: impl FnOnce() -> B) -> (A, B) {
    thread::scope(|scope| {
        let one = scope.spawn(one);
        let other = other();
        (
            one.join().unwrap_or_else(|panic| resume_unwind(panic)),
            other,
        )
    })
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
    fn halves_side_by_side_say_what_one_after_the_other_says() {
        let demo = crate::library::demo("hinge-plates").expect("built in");
        let config = Config::built_in();
        let table = config.table();
        let draft = Draft::new(&table, &demo.text, Some(demo.setup), false);
        let predicted = Predicted::new(&draft, &Unwatched);
        let judging = draft.judging(&Unwatched).knowing(predicted.facts(&draft));
        let found = judging.halves().map(|half| judging.judge(&half));
        let one_by_one = judging.whole(found);
        let (together, _) = vetted(&draft, &Unwatched).expect("not stopped");
        assert_eq!(together.report, one_by_one.report);
        assert_eq!(together.loose, one_by_one.loose);
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
