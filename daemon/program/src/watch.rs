//! Whoever waits for work that may take long.

/// Whoever waits for vetting: it is told what is done, and may stop it.
pub trait Watch: Sync {
    /// False: nobody wants the result any more. What is found from then on is not whole; once it
    /// says no it must not say yes again.
    fn go_on(&self) -> bool {
        true
    }

    /// A part of the work begins.
    fn phase(&self, name: &'static str) {
        let _ = name;
    }
}

/// Nobody watches.
#[derive(Clone, Copy, Debug)]
pub struct Unwatched;

impl Watch for Unwatched {}
