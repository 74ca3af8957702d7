//! Which screens at the console are there, and whether any of them has commanded.
//!
//! Several pages may be open on the one console; the table has lost its screen when none of them is
//! there any more. Requests that come without any page open (a script) make no screen.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::panel::Panel;

/// The screens at the console.
pub(super) struct Screens {
    panel: Panel,
    state: Mutex<State>,
}

#[derive(Clone, Copy, Default)]
struct State {
    there: usize,
    commanded: bool,
}

/// One screen, for as long as it is there.
pub(super) struct Here {
    screens: Arc<Screens>,
    counted: bool,
}

impl Screens {
    pub fn new(panel: Panel) -> Arc<Self> {
        Arc::new(Self {
            panel,
            state: Mutex::default(),
        })
    }

    /// Numbers only: nothing is left half done under this lock.
    fn change(&self, change: impl FnOnce(&mut State)) {
        let mut state: MutexGuard<'_, State> =
            self.state.lock().unwrap_or_else(PoisonError::into_inner);
        change(&mut state);
        if state.commanded {
            self.panel.screen(state.there > 0);
        }
    }

    /// A screen has commanded something.
    pub fn commanded(&self) {
        self.change(|s| s.commanded |= s.there > 0);
    }

    /// A screen has come.
    pub fn join(self: &Arc<Self>) -> Here {
        self.change(|s| s.there += 1);
        Here {
            screens: Arc::clone(self),
            counted: true,
        }
    }
}

impl Here {
    /// Its beat is heard, or is not.
    pub fn beats(&mut self, yes: bool) {
        if self.counted == yes {
            return;
        }
        self.counted = yes;
        self.screens.change(|s| {
            s.there = if yes {
                s.there + 1
            } else {
                s.there.saturating_sub(1)
            };
        });
    }
}

impl Drop for Here {
    fn drop(&mut self) {
        self.beats(false);
    }
}
