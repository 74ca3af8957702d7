//! What happened, on disk: typed events in SQLite, written by a thread of its own.
//!
//! **For**: restoring latches and doubt after a restart, telling the story of a run, replaying it.
//! **Never**: makes the caller wait, loses an event in silence, deletes or changes a row, or says
//! that an event is durable before its commit with a full sync has returned.
//! **If the power goes**: everything that was acknowledged is there, and of what came later perhaps
//! some (see `schema.sql`). The next start knows by the system's own count of its starts that this may
//! have been so, and writes `power-cut` down before anything else: whoever folds the journal then
//! takes the cut in hand for one that may have come to its end.
//! **If the disk fails**: events are kept and tried again; after 2 s (or at once when no more can
//! be kept) that is reported, and a gap is written down as soon as something can be.

mod checkpoint;
mod read;
mod store;
#[cfg(test)]
mod tests;
pub mod wall;
mod writer;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;

use control::{Event, RecordId, Restored, Settings};
use tokio::sync::mpsc::UnboundedSender;
use tokio::sync::oneshot;
use units::Time;

pub use read::{Entry, Gap, ReadError, Start, Story, Which, counted, latest, read};

use store::{Row, Store};
use writer::{Order, Shared, Sink, ToWrite, Writer};

use crate::recording::form::Beginning;
use crate::recording::{Recorder, Reel, Tape};

/// What the journal tells the machine's task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum JournalReport {
    /// This event and all before it survive a power cut. Sent for durable events, and for the
    /// first that could be written after a failure.
    Acked(RecordId),
    /// Events are not on disk, and that cannot be mended by trying again a few times.
    Failed(String),
}

/// What the journal says of the starts before this one.
#[derive(Clone, Debug, PartialEq)]
pub enum Past {
    /// What follows from everything that was recorded.
    Known(Box<Restored>),
    /// It could not be read, or not all of it: whatever can be doubted is in doubt. The file was
    /// kept. What follows from what could be read: counts go on from there.
    Unreadable(Box<Restored>),
}

/// Why there is no journal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}: {says}. {remedy}", dir.display())]
pub struct JournalError {
    /// The state folder.
    pub dir: PathBuf,
    /// What is wrong.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

/// The writing end.
#[derive(Debug)]
pub struct Journal {
    /// `None`: closed.
    to: Option<SyncSender<Order>>,
    thread: Option<JoinHandle<()>>,
    shared: Arc<Shared>,
    reports: UnboundedSender<JournalReport>,
    /// The state folder and the number of this start, for the recording.
    place: Option<(PathBuf, i64)>,
}

impl Journal {
    /// Opens the journal in the state folder `dir` (made if it is not there) and starts its
    /// writer. A damaged journal is moved aside, kept, and answered by [`Past::Unreadable`].
    ///
    /// # Errors
    /// The folder cannot be written, another panel writes there, or the file is not ours.
    pub fn open(
        dir: &Path,
        reports: UnboundedSender<JournalReport>,
    ) -> Result<(Self, Past), JournalError> {
        let (store, past) = Store::open(dir)?;
        let start = store.start();
        let mut journal = Self::over(store, reports).map_err(|e| JournalError {
            dir: dir.to_path_buf(),
            says: format!("the journal's thread cannot be started: {e}"),
            remedy: "End other programs and try again".into(),
        })?;
        journal.place = Some((dir.to_path_buf(), start));
        Ok((journal, past))
    }

    fn over(
        sink: impl Sink + 'static,
        reports: UnboundedSender<JournalReport>,
    ) -> std::io::Result<Self> {
        let (to, from) = sync_channel(writer::WAITING);
        let shared = Arc::new(Shared::default());
        let writer = Writer::new(sink, from, reports.clone(), Arc::clone(&shared));
        let thread = std::thread::Builder::new()
            .name("journal".into())
            .spawn(move || writer.run())?;
        Ok(Self {
            to: Some(to),
            thread: Some(thread),
            shared,
            reports,
            place: None,
        })
    }

    /// Begins the recording of this start: what the machine is made of, and a recorder whose steps
    /// the journal's own thread writes. A recording that cannot be had keeps nobody from cutting.
    pub fn begin_recording(
        &self,
        settings: Settings,
        dialect: &str,
        restored: &Restored,
    ) -> Recorder {
        let tape = Arc::new(Tape::default());
        let Some((dir, start)) = &self.place else {
            return Recorder::off();
        };
        let beginning = Beginning {
            version: env!("CARGO_PKG_VERSION").into(),
            start: *start,
            settings,
            dialect: dialect.to_owned(),
            restored: restored.clone(),
        };
        match Reel::begin(dir, &beginning, Arc::clone(&tape)) {
            Ok(reel) => {
                *self.shared.reel() = Some(reel);
                Recorder::new(tape)
            }
            Err(error) => {
                tracing::warn!(%error, "this start is not recorded: its runs cannot be replayed");
                Recorder::off()
            }
        }
    }

    /// Records an event that happened at `at`. Never blocks. A durable one is answered by
    /// [`JournalReport::Acked`] once it survives a power cut; one that cannot be taken is answered
    /// by [`JournalReport::Failed`] at once.
    pub fn record(&self, record: RecordId, event: Event, durable: bool, at: Time) {
        match Row::of(&event, at) {
            Ok(row) => self.put(ToWrite {
                record,
                durable,
                row,
            }),
            Err(why) => self.lost(format!("{} has no form on disk: {why}", event.name())),
        }
    }

    /// Resolves once everything recorded so far is in the file: it survives the process, and a power
    /// cut as its own events promise. Resolves as well if the disk fails or the journal is closed.
    pub async fn settle(&self) {
        let (done, settled) = oneshot::channel();
        let Some(to) = &self.to else { return };
        if to.try_send(Order::Now(done)).is_ok() {
            // Let fall by a writer that has ended.
            let _ = settled.await;
        }
    }

    fn put(&self, event: ToWrite) {
        let Some(to) = &self.to else {
            return self.lost("the journal was closed".into());
        };
        match to.try_send(Order::Write(event)) {
            Ok(()) => {}
            Err(TrySendError::Full(_)) => {
                self.lost("the journal cannot keep up with what happens".into());
            }
            Err(TrySendError::Disconnected(_)) => {
                self.lost("the journal's thread has ended".into());
            }
        }
    }

    fn lost(&self, why: String) {
        self.shared.lost.fetch_add(1, Ordering::AcqRel);
        tracing::error!(why, "an event was not recorded");
        // Nobody listens any more: the service is going down.
        let _ = self.reports.send(JournalReport::Failed(why));
    }

    /// Writes everything that is left and ends the writer. Blocks for 2 s at most if the disk
    /// fails; what could not be written is reported as failed.
    pub fn close(&mut self) {
        drop(self.to.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the journal's thread ended by a panic");
        }
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        self.close();
    }
}
