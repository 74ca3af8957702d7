//! Counts of elementary geometry: what the growth test (`growth.rs`) reads instead of a clock. In a build
//! that is no unit test the counting compiles to nothing.
//!
//! Counted is every operation that a loop over many things cannot do without: rectangles compared, tree
//! nodes visited, places tested against edges, cells painted, runs joined. A loop over all pairs calls
//! one of these for each pair, wherever it stands.

/// Counts so many elementary operations.
#[cfg(not(test))]
#[inline]
pub(crate) const fn count(_operations: usize) {}

#[cfg(test)]
pub(crate) use counting::{by_phase, count};

#[cfg(test)]
mod counting {
    use std::cell::{Cell, RefCell};

    use crate::Watch;

    std::thread_local! {
        static DONE: Cell<u64> = const { Cell::new(0) };
        static PHASES: RefCell<Vec<(&'static str, u64)>> = const { RefCell::new(Vec::new()) };
    }

    /// Counts so many elementary operations of this thread.
    pub(crate) fn count(operations: usize) {
        DONE.set(DONE.get() + operations as u64);
    }

    /// Notes at which count each phase begins.
    struct Phases;

    impl Watch for Phases {
        fn phase(&self, name: &'static str) {
            PHASES.with_borrow_mut(|all| all.push((name, DONE.get())));
        }
    }

    /// The operations of each phase, in order, of what `run` does; those before its first phase are
    /// named "before".
    pub(crate) fn by_phase(run: impl FnOnce(&dyn Watch)) -> Vec<(&'static str, u64)> {
        PHASES.with_borrow_mut(Vec::clear);
        DONE.set(0);
        run(&Phases);
        let mut begun = vec![("before", 0)];
        PHASES.with_borrow_mut(|all| begun.append(all));
        begun.push(("", DONE.get()));
        let of = |two: &[(&'static str, u64)]| (two[0].0, two[1].1 - two[0].1);
        begun.windows(2).map(of).collect()
    }
}
