//! One vetting of a program for all who ask for it: shared, bounded in number, given up when nobody waits,
//! and kept at hand with what was asked for last.
//!
//! A vetting takes a while and memory of the program's own size, and anybody who may read may ask for
//! one. If the task that vets dies, whoever waits is told that the panel is shutting down.

use std::collections::{HashMap, VecDeque};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};

use program::Watch;
use tokio::sync::{Semaphore, watch};

use super::{Chosen, LibraryError};
use crate::panel::Gone;

/// Programs whose reading is kept at hand.
const KEPT_PROGRAMS: usize = 16;
/// Their texts have no more bytes than this in all (in memory each takes several times its text); the
/// one asked for last is kept whatever it has.
const KEPT_BYTES: usize = 16 << 20;
/// Vettings at a time: the rest of the panel has the other core.
const AT_ONCE: usize = 1;
/// Vettings that run or wait for their turn.
const TOGETHER: usize = 4;

/// Which program, in which version, with which wear of the torch parts.
pub(super) type Key = (String, String, String);

/// Whether somebody still waits for a vetting.
#[derive(Debug, Default)]
pub struct Wanted(AtomicBool);

impl Watch for Wanted {
    /// False: nobody does any more, and nobody will.
    fn go_on(&self) -> bool {
        !self.0.load(Ordering::Acquire)
    }
}

/// Held by all who wait for one vetting.
struct Waiting {
    told: watch::Receiver<Option<Told>>,
    wanted: Arc<Wanted>,
}

impl Drop for Waiting {
    fn drop(&mut self) {
        self.wanted.0.store(true, Ordering::Release);
    }
}

type Told = Result<Arc<Chosen>, LibraryError>;

/// The vettings of a library.
pub(super) struct Vets {
    state: Mutex<State>,
    turn: Arc<Semaphore>,
    /// Texts are read one at a time.
    pub reading: Semaphore,
}

#[derive(Default)]
struct State {
    /// What was asked for last comes first.
    kept: VecDeque<(Key, Arc<Chosen>)>,
    running: HashMap<Key, Weak<Waiting>>,
}

impl Default for Vets {
    fn default() -> Self {
        Self {
            state: Mutex::default(),
            turn: Arc::new(Semaphore::new(AT_ONCE)),
            reading: Semaphore::new(1),
        }
    }
}

impl Vets {
    /// Whole values only: nothing is left half done by a panic under this lock.
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is at hand.
    pub fn kept(&self, key: &Key) -> Option<Arc<Chosen>> {
        let mut state = self.lock();
        let at = state.kept.iter().position(|(k, _)| k == key)?;
        let found = state.kept.remove(at)?;
        let chosen = Arc::clone(&found.1);
        state.kept.push_front(found);
        Some(chosen)
    }

    /// Keeps it at hand; what was asked for longest ago makes room.
    pub fn keep(&self, key: Key, chosen: &Arc<Chosen>) {
        let mut state = self.lock();
        state.kept.retain(|(k, _)| *k != key);
        state.kept.push_front((key, Arc::clone(chosen)));
        state.kept.truncate(KEPT_PROGRAMS);
        let mut bytes = 0;
        let enough = state.kept.iter().position(|(_, c)| {
            bytes += c.prepared.text.len();
            bytes > KEPT_BYTES
        });
        if let Some(at) = enough {
            state.kept.truncate(at.max(1));
        }
    }

    /// The result of `vet` for this key: at hand, of the one that runs for others, or of one that begins
    /// now. Whoever drops this waits no more; when nobody does, [`Wanted`] says so.
    pub async fn shared(
        self: &Arc<Self>,
        key: Key,
        vet: impl FnOnce(&Wanted) -> Told + Send + 'static,
    ) -> Told {
        if let Some(kept) = self.kept(&key) {
            return Ok(kept);
        }
        let waiting = self.join(key, vet)?;
        let mut told = waiting.told.clone();
        let told = told.wait_for(Option::is_some).await;
        match told.as_deref() {
            Ok(Some(told)) => told.clone(),
            Ok(None) | Err(_) => Err(LibraryError::Gone(Gone)),
        }
    }

    fn join(
        self: &Arc<Self>,
        key: Key,
        vet: impl FnOnce(&Wanted) -> Told + Send + 'static,
    ) -> Result<Arc<Waiting>, LibraryError> {
        let mut state = self.lock();
        if let Some(waiting) = state.running.get(&key).and_then(Weak::upgrade) {
            return Ok(waiting);
        }
        // One that nobody waits for any more still takes its place until it has ended.
        if state.running.len() >= TOGETHER {
            return Err(LibraryError::Busy);
        }
        let (tell, told) = watch::channel(None);
        let wanted = Arc::new(Wanted::default());
        let waiting = Arc::new(Waiting {
            told,
            wanted: Arc::clone(&wanted),
        });
        state.running.insert(key.clone(), Arc::downgrade(&waiting));
        let mine = Arc::downgrade(&waiting);
        let vets = Arc::clone(self);
        tokio::spawn(async move {
            let ended = Ends { vets, key, mine };
            let told = ended.vetted(wanted, vet).await;
            if let Ok(chosen) = &told {
                ended.vets.keep(ended.key.clone(), chosen);
            }
            drop(ended);
            // Nobody waits any more: it is at hand all the same.
            let _ = tell.send(Some(told));
        });
        Ok(waiting)
    }
}

/// Takes a vetting off the list when it has ended, however.
struct Ends {
    vets: Arc<Vets>,
    key: Key,
    mine: Weak<Waiting>,
}

impl Ends {
    async fn vetted(
        &self,
        wanted: Arc<Wanted>,
        vet: impl FnOnce(&Wanted) -> Told + Send + 'static,
    ) -> Told {
        let gone = || LibraryError::Gone(Gone);
        let turn = Arc::clone(&self.vets.turn).acquire_owned();
        let turn = turn.await.map_err(|_| gone())?;
        if !wanted.go_on() {
            return Err(LibraryError::Stopped);
        }
        let task = tokio::task::spawn_blocking(move || {
            let told = vet(&wanted);
            drop(turn);
            told
        });
        task.await.map_err(|_| gone())?
    }
}

impl Drop for Ends {
    fn drop(&mut self) {
        let mut state = self.vets.lock();
        // Somebody may have begun another for the same program since nobody waited for this one.
        if state
            .running
            .get(&self.key)
            .is_some_and(|w| w.ptr_eq(&self.mine))
        {
            state.running.remove(&self.key);
        }
    }
}

#[cfg(test)]
mod tests;
