//! The thread that writes, and what it does when the disk does not take it.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use control::RecordId;
use control::trace::Trace;
use tokio::sync::mpsc::UnboundedSender;
use tokio::sync::oneshot;

use super::store::{Row, Store};
use super::{Disk, JournalReport};
use crate::recording::Reel;
use crate::seldom::Seldom;
use crate::traces;

/// Events that nobody waits for are committed this long after the first of them: one sync for
/// many, and well within the 100 ms that are promised.
pub const BATCH: Duration = Duration::from_millis(80);
/// A write that failed is tried again after this.
pub const RETRY: Duration = Duration::from_millis(100);
/// A write that still fails after this is reported: the limit of `record-failed`.
pub const GIVE_UP: Duration = Duration::from_secs(2);
/// Events that may wait in the channel, and as many again in the writer's hand. A run makes some
/// ten a second, so this is minutes of a dead disk.
pub const WAITING: usize = 4096;
/// Where nothing happens the file is looked for so often.
const LOOK: Duration = Duration::from_secs(1);
/// Rows of one commit at most: a durable event never waits behind more.
const TOGETHER: usize = 512;
/// Traces that may wait: each is for the time of ten seconds at least.
const TRACES: usize = 4;

const _: () = assert!(BATCH.as_millis() < 100);
const _: () = assert!(TOGETHER <= WAITING);

/// One event for the writer.
#[derive(Debug)]
pub struct ToWrite {
    pub record: RecordId,
    pub durable: bool,
    pub row: Row,
}

/// A trace for the writer.
#[derive(Debug)]
pub struct ToKeep {
    /// The state folder.
    pub dir: PathBuf,
    /// Which start.
    pub start: i64,
    pub trace: Trace,
}

/// What the writer is told.
#[derive(Debug)]
pub enum Order {
    /// Write this, when its time has come.
    Write(ToWrite),
    /// Write this trace when nothing else waits.
    Trace(Box<ToKeep>),
    /// Write everything now, then tell. Not told if the disk fails.
    Now(oneshot::Sender<()>),
}

/// Where rows go. The file, or in tests something that fails when told to.
pub trait Sink: Send {
    /// As [`Store::commit`].
    fn commit(&mut self, rows: &[Row], lost: Option<(u64, &str)>, full: bool)
    -> Result<(), String>;
    /// As [`Store::end`].
    fn end(&mut self) -> Result<(), String>;
    /// As [`Store::in_place`].
    fn in_place(&self) -> Result<(), String> {
        Ok(())
    }
}

/// The file, on a disk that is asked first.
pub struct OnDisk {
    pub store: Store,
    /// `None`: it answers as it does.
    pub disk: Option<Arc<Disk>>,
}

impl OnDisk {
    fn ask(&self) -> Result<(), String> {
        self.disk.as_ref().map_or(Ok(()), |disk| disk())
    }
}

impl Sink for OnDisk {
    fn commit(
        &mut self,
        rows: &[Row],
        lost: Option<(u64, &str)>,
        full: bool,
    ) -> Result<(), String> {
        self.ask()?;
        self.store.commit(rows, lost, full)
    }
    fn end(&mut self) -> Result<(), String> {
        self.ask()?;
        self.store.end()
    }
    fn in_place(&self) -> Result<(), String> {
        self.store.in_place()
    }
}

/// What the asking side and the writer share.
#[derive(Debug, Default)]
pub struct Shared {
    /// Events that found the channel full and are not written down as a gap yet.
    pub lost: AtomicU64,
    /// Events that the writer was given, and those of them that are in the file.
    pub taken: AtomicU64,
    pub written: AtomicU64,
    /// Losses are logged at a limited rate.
    pub seldom: Seldom,
    /// Set in tests: end as a killed process would, with nothing more written.
    pub killed: AtomicBool,
    /// The recording, once one was begun.
    reel: Mutex<Option<Reel>>,
}

impl Shared {
    /// The recording. Only the writer holds it for longer than a moment.
    pub fn reel(&self) -> MutexGuard<'_, Option<Reel>> {
        self.reel.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The writer.
pub struct Writer<S> {
    sink: S,
    from: Receiver<Order>,
    reports: UnboundedSender<JournalReport>,
    shared: Arc<Shared>,
    /// Not committed yet, oldest first.
    hand: Vec<ToWrite>,
    /// When what is in the hand must be committed.
    due: Option<Instant>,
    /// Not written yet, oldest first.
    traces: VecDeque<Box<ToKeep>>,
    /// Who waits until everything is written.
    waiting: Vec<oneshot::Sender<()>>,
    failing: Option<Failing>,
    /// When the file was last seen in its place.
    looked: Instant,
}

struct Failing {
    since: Instant,
    reported: bool,
}

impl<S: Sink> Writer<S> {
    /// A writer that has nothing to do yet.
    pub fn new(
        sink: S,
        from: Receiver<Order>,
        reports: UnboundedSender<JournalReport>,
        shared: Arc<Shared>,
    ) -> Self {
        Self {
            sink,
            from,
            reports,
            shared,
            hand: Vec::new(),
            due: None,
            traces: VecDeque::new(),
            waiting: Vec::new(),
            failing: None,
            looked: Instant::now(),
        }
    }

    /// Writes until the asking side has gone, then writes what is left.
    pub fn run(mut self) {
        loop {
            if self.hand.len() >= WAITING {
                // The disk takes nothing: leave the rest in the channel, whose end tells the
                // asking side by being full.
                std::thread::sleep(self.wait());
            } else {
                match self.from.recv_timeout(self.wait()) {
                    Ok(order) => self.take(order),
                    Err(RecvTimeoutError::Timeout) => {}
                    Err(RecvTimeoutError::Disconnected) => break,
                }
            }
            if self.shared.killed.load(Ordering::Acquire) {
                return;
            }
            self.write_recording();
            if self.due.is_some_and(|due| Instant::now() >= due) {
                self.write();
            } else if self.due.is_none() && self.looked.elapsed() >= LOOK {
                // With nothing to write a lost file would be seen only when a run is to begin.
                self.looked = Instant::now();
                if let Err(why) = self.sink.in_place() {
                    self.failed(why);
                }
            }
            if self.hand.is_empty() {
                self.write_trace();
                for done in self.waiting.drain(..) {
                    // Whoever asked may have ended since.
                    let _ = done.send(());
                }
            }
        }
        if self.shared.killed.load(Ordering::Acquire) {
            return;
        }
        self.finish();
    }

    fn wait(&self) -> Duration {
        match self.due {
            Some(due) => due.saturating_duration_since(Instant::now()),
            // Events wake it by the channel; the recording waits for this.
            None => BATCH,
        }
    }

    /// Takes one order and what else is there already, and sets when it must be written.
    fn take(&mut self, order: Order) {
        let mut at_once = self.take_one(order);
        while self.hand.len() < TOGETHER
            && let Ok(more) = self.from.try_recv()
        {
            at_once |= self.take_one(more);
        }
        let now = Instant::now();
        // While the disk fails, the next try is at its own time.
        if self.failing.is_none() {
            let due = if at_once || self.hand.len() >= TOGETHER {
                now
            } else {
                now + BATCH
            };
            self.due = Some(self.due.map_or(due, |already| already.min(due)));
        }
    }

    /// True if it must be written at once.
    fn take_one(&mut self, order: Order) -> bool {
        match order {
            Order::Write(event) => {
                let durable = event.durable;
                self.hand.push(event);
                durable
            }
            Order::Trace(trace) => {
                if self.traces.len() < TRACES {
                    self.traces.push_back(trace);
                }
                false
            }
            Order::Now(done) => {
                self.waiting.push(done);
                true
            }
        }
    }

    fn write_recording(&self) {
        if let Some(reel) = &mut *self.shared.reel() {
            reel.write();
        }
    }

    /// One trace, when no event waits. Without it the event is told without its curves.
    fn write_trace(&mut self) {
        let Some(keep) = self.traces.pop_front() else {
            return;
        };
        if let Err(error) = traces::keep(&keep.dir, keep.start, &keep.trace) {
            tracing::warn!(%error, "the trace of a fault could not be written");
        }
    }

    fn write(&mut self) {
        let count = self.hand.len().min(TOGETHER);
        let rows: Vec<Row> = self
            .hand
            .iter()
            .take(count)
            .map(|w| w.row.clone())
            .collect();
        let recovered = self.failing.as_ref().is_some_and(|f| f.reported);
        let durable = self.hand.iter().take(count).any(|w| w.durable);
        let full = durable || recovered;
        let lost = self.shared.lost.swap(0, Ordering::AcqRel);
        let gap = (lost > 0).then_some((lost, "more happened than the disk could take"));
        match self.sink.commit(&rows, gap, full) {
            Ok(()) => {
                if rows.iter().any(|r| matches!(r.severity, "stop" | "danger"))
                    && let Some(reel) = &mut *self.shared.reel()
                {
                    reel.stopped();
                }
                let last = self.hand.drain(..count).next_back().map(|w| w.record);
                self.shared
                    .written
                    .fetch_add(count as u64, Ordering::AcqRel);
                self.looked = Instant::now();
                self.failing = None;
                self.due = (!self.hand.is_empty()).then(Instant::now);
                if let (Some(last), true) = (last, full) {
                    self.report(JournalReport::Acked(last));
                }
            }
            Err(why) => {
                self.shared.lost.fetch_add(lost, Ordering::AcqRel);
                self.failed(why);
            }
        }
    }

    /// Everything stays in the hand and is tried again; after a while that is told.
    fn failed(&mut self, why: String) {
        let now = Instant::now();
        self.due = Some(now + RETRY);
        // Nobody waits for a disk that fails.
        self.waiting.clear();
        let failing = self.failing.get_or_insert(Failing {
            since: now,
            reported: false,
        });
        if !failing.reported && now.duration_since(failing.since) >= GIVE_UP {
            failing.reported = true;
            tracing::error!(
                why,
                waiting = self.hand.len(),
                "the journal cannot be written"
            );
            self.report(JournalReport::Failed(why));
        }
    }

    fn report(&self, report: JournalReport) {
        // Nobody listens any more: the service is going down.
        let _ = self.reports.send(report);
    }

    /// Writes what is left, within the time in which a failure would be told.
    fn finish(mut self) {
        self.write_recording();
        let until = Instant::now() + GIVE_UP;
        while !self.hand.is_empty() {
            self.write();
            if self.failing.is_none() {
                continue;
            }
            if Instant::now() >= until {
                let lost = self.hand.len();
                tracing::error!(lost, "the journal could not be written at the end");
                self.report(JournalReport::Failed(format!(
                    "{lost} events could not be written before the end"
                )));
                return;
            }
            std::thread::sleep(RETRY);
        }
        while !self.traces.is_empty() {
            self.write_trace();
        }
        if let Some(reel) = &mut *self.shared.reel() {
            reel.end();
        }
        if let Err(why) = self.sink.end() {
            tracing::warn!(
                why,
                "the end of this start could not be noted in the journal"
            );
        }
    }
}
