//! What happened, on disk: typed events in SQLite, written by a thread of its own.
//!
//! **For**: restoring latches and doubt after a restart, telling the story of a run, replaying it.
//! **Never**: makes the caller wait, loses an event in silence, changes a row, deletes one but by the
//! rule of [`retention`], or says that an event is durable before its commit with a full sync has
//! returned.
//! **If the power goes**: everything that was acknowledged is there, and of what came later perhaps
//! some (see `schema.sql`). The next start knows by the system's own count of its starts that this may
//! have been so, and writes `power-cut` down before anything else: whoever folds the journal then
//! takes the cut in hand for one that may have come to its end.
//! **If the disk fails**: events are kept and tried again; after 2 s (or at once when no more can
//! be kept) that is reported, and a gap is written down as soon as something can be. A disk that
//! does not even answer, and a file that is no longer in its folder, count as failing. Nobody waits
//! for the writer without a bound: a writer that hangs is left behind.

mod checkpoint;
mod csv;
mod earlier;
mod overdue;
mod placed;
mod read;
mod retention;
mod store;
#[cfg(test)]
mod tests;
pub mod wall;
mod writer;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{
    Receiver, RecvTimeoutError, SyncSender, TrySendError, channel, sync_channel,
};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use control::trace::Trace;
use control::{Event, RecordId, Restored, Settings};
use tokio::sync::mpsc::UnboundedSender;
use tokio::sync::oneshot;
use units::Time;

pub use csv::csv;
pub use read::{
    Entry, Gap, ReadError, Sought, Start, Story, Told, Which, counted, latest, of_names, read, runs,
};

pub use earlier::mark_restored;
pub use store::lock;

use overdue::Overdue;
use store::{Row, Store};
use writer::{OnDisk, Order, Shared, Sink, ToKeep, ToWrite, Writer};

use crate::recording::form::Beginning;
use crate::recording::{Recorder, Reel, Tape};

/// How a disk answers, asked before each write; it may take as long as a disk may. In practice and in
/// tests it stands for disks that are full or hang.
pub type Disk = dyn Fn() -> Result<(), String> + Send + Sync;

/// Closing waits so long for a writer, which itself gives up 2 s after the first write that fails.
const CLOSES_WITHIN: Duration = Duration::from_millis(2500);
/// Of events that could not be taken the log is told once in so long.
const LOSSES_LOGGED_EVERY: Duration = Duration::from_secs(1);

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
    /// Its other end falls when the thread has ended.
    ended: Receiver<()>,
    shared: Arc<Shared>,
    overdue: Overdue,
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
        Self::open_on(dir, reports, None)
    }

    /// The same on a disk that answers like this; `None`: as it does.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_on(
        dir: &Path,
        reports: UnboundedSender<JournalReport>,
        disk: Option<Arc<Disk>>,
    ) -> Result<(Self, Past), JournalError> {
        let (store, past) = Store::open(dir)?;
        let start = store.start();
        let sink = OnDisk { store, disk };
        let mut journal = Self::over(sink, reports).map_err(|e| JournalError {
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
        let (ends, ended) = channel();
        let thread = std::thread::Builder::new()
            .name("journal".into())
            .spawn(move || {
                let _ends: std::sync::mpsc::Sender<()> = ends;
                writer.run();
            })?;
        Ok(Self {
            to: Some(to),
            thread: Some(thread),
            ended,
            shared,
            overdue: Overdue::new(Instant::now()),
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

    /// Keeps the trace of a fault, when no event waits for the disk. Never blocks: one that finds no room is
    /// let go.
    pub fn keep(&self, trace: Trace) {
        let (Some(to), Some((dir, start))) = (&self.to, &self.place) else {
            return;
        };
        let keep = ToKeep {
            dir: dir.clone(),
            start: *start,
            trace,
        };
        if to.try_send(Order::Trace(Box::new(keep))).is_err() {
            tracing::warn!("the trace of a fault found no room");
        }
    }

    /// Has everything that was recorded so far written at once, and tells when it is in the file: it
    /// survives the process, and a power cut as its own events promise. The sender is let fall if the
    /// disk fails or the writer has ended. `None`: there is no writer, or it has no room.
    pub fn settle(&self) -> Option<oneshot::Receiver<()>> {
        let (done, settled) = oneshot::channel();
        let to = self.to.as_ref()?;
        to.try_send(Order::Now(done)).is_ok().then_some(settled)
    }

    /// To be called a few times a second: reports, once, that the disk has not answered for 2 s. The
    /// writer itself cannot, for it hangs.
    pub fn look(&mut self, now: Instant) {
        let taken = self.shared.taken.load(Ordering::Acquire);
        let written = self.shared.written.load(Ordering::Acquire);
        if self.overdue.look(now, taken, written) {
            let why = "the disk has not answered for 2 s".to_owned();
            tracing::error!(why, "the journal cannot be written");
            // Nobody listens any more: the service is going down.
            let _ = self.reports.send(JournalReport::Failed(why));
        }
    }

    fn put(&self, event: ToWrite) {
        let Some(to) = &self.to else {
            return self.lost("the journal was closed".into());
        };
        match to.try_send(Order::Write(event)) {
            Ok(()) => {
                self.shared.taken.fetch_add(1, Ordering::AcqRel);
            }
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
        if let Some(others) = self.shared.seldom.now(LOSSES_LOGGED_EVERY) {
            tracing::error!(why, others, "an event was not recorded");
        }
        // Nobody listens any more: the service is going down.
        let _ = self.reports.send(JournalReport::Failed(why));
    }

    /// Writes everything that is left and ends the writer. Blocks for 2 s if the disk fails (what could
    /// not be written is reported as failed), and for 2.5 s at most: a writer that hangs is left behind.
    pub fn close(&mut self) {
        drop(self.to.take());
        let Some(thread) = self.thread.take() else {
            return;
        };
        if let Err(RecvTimeoutError::Timeout) = self.ended.recv_timeout(CLOSES_WITHIN) {
            tracing::error!("the disk does not answer: the journal is left as it is");
            return;
        }
        if thread.join().is_err() {
            tracing::error!("the journal's thread ended by a panic");
        }
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        self.close();
    }
}
