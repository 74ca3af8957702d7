//! Which screens at the console are there, and whether any of them has commanded.
//!
//! Several pages may be open on the one console; the table has lost its screen when none of them is
//! there any more. Requests that come without any page open (a script) make no screen.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Json;
use axum::extract::State as Shared;
use serde::Serialize;

use super::Served;
use super::messages::VERSION;
use crate::panel::Panel;

/// The answer to `GET /api/here`, for the watchdog of the browser at the console.
#[derive(Serialize)]
pub(super) struct AtTheConsole {
    v: u32,
    /// Screens on this machine whose beat is heard.
    screens: usize,
}

/// `GET /api/here`.
pub(super) async fn here(Shared(served): Shared<Served>) -> Json<AtTheConsole> {
    Json(AtTheConsole {
        v: VERSION,
        screens: served.screens.there(),
    })
}

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

    /// How many are there now.
    fn there(&self) -> usize {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.there
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
