//! The journal's disk: a record is on it at once, late, or never.

use std::time::Duration;

use control::{Event, Input, RecordId};
use units::Time;

use super::World;

/// A journal says within this that it cannot write (by the service: 2 s).
const FAILS_WITHIN: Duration = Duration::from_secs(2);
/// What was recorded within this of a panel's death is not on the disk, unless that was told.
const JOURNAL_LAG: Duration = Duration::from_millis(100);

/// How a disk is dead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dead {
    /// It hangs or is full: after 2 s the journal says so.
    Told,
    /// The journal's thread hangs and nobody says anything.
    Untold,
    /// The journal's thread is gone: every record is refused at once, for good.
    Gone,
}

/// From then on no record is on the disk, until then.
#[derive(Clone, Copy, Debug)]
pub struct Dying {
    pub at: Time,
    pub how: Dead,
    pub until: Option<Time>,
}

/// The disk.
#[derive(Debug, Default)]
pub struct Disk {
    /// A record is on the disk so long after it was written; `None`: at once.
    pub late: Option<Duration>,
    /// It dies.
    pub dying: Option<Dying>,
    /// With a panel that is killed every record is lost that was not told to be on the disk. Otherwise
    /// those that survive a power cut were handed over before: where the disk is late by more than
    /// the panel's bound and the place is in doubt besides, the panel cannot tell how far the arc came.
    pub forgets: bool,
    /// Records that wait to be on the disk: when they were written, and after how many events.
    waits: Vec<(Time, RecordId, usize)>,
    /// So many events are on the disk for sure.
    kept: usize,
    /// The journal says that it cannot write, then.
    fails_at: Option<Time>,
    /// The record of the last start, and whether it is on the disk.
    pub(super) start: Option<(RecordId, bool)>,
}

impl Disk {
    fn dead(&self, now: Time) -> Option<Dying> {
        let dying = self.dying.filter(|d| d.at <= now);
        dying.filter(|d| d.until.is_none_or(|t| now < t))
    }

    /// When something happens to it next.
    pub(super) fn next(&self, now: Time) -> Option<Time> {
        let late = self.late.unwrap_or_default();
        let writes = self.waits.iter().map(|w| w.0 + late).min();
        let writes = writes.filter(|_| self.dead(now).is_none());
        let turns = self.dying.iter().flat_map(|d| [Some(d.at), d.until]);
        let turns = turns.flatten().filter(|t| *t > now);
        turns.chain(writes).chain(self.fails_at).min()
    }

    /// It is dead for good, and has been for so long.
    pub fn dead_for_good(&self, now: Time, long: Duration) -> bool {
        self.dead(now)
            .is_some_and(|d| d.until.is_none() && now >= d.at + long)
    }

    /// Somebody says that it is dead.
    pub(super) fn tells(&self) -> bool {
        self.dying.is_some_and(|d| d.how != Dead::Untold)
    }

    /// The first start's record that was asked for waits to be on the disk.
    pub(super) fn begin_start(&mut self, id: RecordId) {
        self.start = Some((id, false));
    }
}

impl World {
    /// A durable record was written just now; it is the newest of all events.
    pub(super) fn keep(&mut self, id: RecordId) {
        let (now, events) = (self.now, self.events.len());
        self.disk.waits.push((now, id, events));
        let dead = self.disk.dead(now);
        let fails_after = match dead.map(|d| d.how) {
            Some(Dead::Told) => Some(FAILS_WITHIN),
            Some(Dead::Gone) => Some(Duration::ZERO),
            Some(Dead::Untold) | None => None,
        };
        if let Some(after) = fails_after {
            self.disk.fails_at.get_or_insert(now + after);
        }
        if self.disk.late.is_none() && dead.is_none() {
            self.let_disk_write();
        }
    }

    /// Records whose time has come are on the disk; a journal that cannot write says so.
    pub(super) fn let_disk_write(&mut self) {
        let now = self.now;
        if let Some(dying) = self.disk.dead(now) {
            if self.disk.fails_at.is_some_and(|t| t <= now) {
                self.disk.fails_at = None;
                let why = format!("invented: {:?}", dying.how);
                self.tell(Input::RecordFailed { why });
            }
            return;
        }
        self.disk.fails_at = None;
        let late = self.disk.late.unwrap_or_default();
        let (due, later) = self.disk.waits.iter().partition(|w| w.0 + late <= now);
        self.disk.waits = later;
        let due: Vec<(Time, RecordId, usize)> = due;
        for (_, id, events) in due {
            self.disk.kept = self.disk.kept.max(events);
            if let Some((start, kept)) = &mut self.disk.start {
                *kept |= id >= *start;
            }
            self.tell(Input::Durable { id });
        }
    }

    /// What the journal of a panel holds that dies at this moment. Its next one has a sound disk.
    pub(super) fn kept(&mut self, died: Time) -> Vec<Event> {
        let sure = self.disk.kept.min(self.events.len());
        let late = self.disk.late.unwrap_or_default();
        let synced = self.events.iter().rposition(|e| e.2).map_or(0, |k| k + 1);
        let sure = if self.disk.forgets {
            sure
        } else {
            sure.max(synced)
        };
        let (cut, forgets) = (self.power_cut, self.disk.forgets);
        let written = |at: Time, durable: bool| {
            let lag = if forgets {
                JOURNAL_LAG + late
            } else {
                JOURNAL_LAG
            };
            !cut && (at + lag <= died || (durable && !forgets))
        };
        let all = self.events.iter().enumerate();
        let told = |k: usize| k < sure && (cut || forgets);
        let mut kept: Vec<Event> = all
            .filter(|(k, (at, _, durable))| told(*k) || written(*at, *durable))
            .map(|(_, e)| e.1.clone())
            .collect();
        if self.power_cut {
            kept.push(Event::PowerCut);
        }
        self.disk = Disk {
            late: self.disk.late,
            dying: self.disk.dying.filter(|d| d.at > died),
            forgets: self.disk.forgets,
            kept: sure,
            ..Disk::default()
        };
        kept
    }
}
