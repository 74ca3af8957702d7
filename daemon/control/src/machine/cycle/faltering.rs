//! A torch that goes slower than it was told because its lines come too slowly: wire or controller
//! carry less than the path needs. The cut goes on and is told as such, for its edge and its heat are
//! not what the chart has. (Where so little is left that the arc would stand, `path` stops the cut.)
//!
//! By the reports alone: the queue has room, lines of the path wait here, and the speed is less than
//! 90 % of the feed. Slow corners on a full queue are no matter of the line.

use units::Time;

use super::Cycle;
use crate::event::Event;
use crate::machine::Machine;
use crate::view::Faltered;

/// As fast as it was told to be is at least this share of the feed (ours).
const AS_TOLD: f64 = 0.9;
/// The queue has room with so many places free: the last line may be on its way (ours).
const ROOM: u32 = 2;
/// Told once it has lasted so long in a cut, s: longer than the queue takes to fill (ours).
const TOLD_S: f64 = 0.3;
/// Reports further apart than this say nothing of the time between, s.
const APART_S: f64 = 0.15;

/// What a cut has faltered so far.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Faltering {
    /// The report that was looked at last, and whether it was slow.
    looked: Option<(Time, bool)>,
    s: f64,
    /// What was passed meanwhile, and what would have been at the feed, mm.
    gone_mm: f64,
    wanted_mm: f64,
}

impl Machine {
    /// Looks at a new report of the path under way.
    pub(super) fn look_faltering(&mut self, c: &mut Cycle) {
        let (Some(status), Some(track)) = (&self.line.status, &c.track) else {
            return;
        };
        let before = c.faltering.looked;
        if status.at < c.since || before.is_some_and(|(at, _)| status.at <= at) {
            return;
        }
        let (at, feed) = (status.at, track.feed);
        let queue = self.line.session.queue();
        let room = status.waiting.zip(queue).is_some_and(|(n, q)| n + ROOM < q);
        let waits = track.torch_off.is_none() || self.line.session.unsent() > 0;
        let speed = status.feed_mm_s.filter(|v| *v < feed * AS_TOLD);
        let slow = speed.filter(|_| room && waits && self.signals.arc_ok);
        c.faltering.looked = Some((at, slow.is_some()));
        let (Some(speed), Some((since, true))) = (slow, before) else {
            return;
        };
        let s = at.since(since).as_secs_f64();
        if s > APART_S {
            return;
        }
        let f = &mut c.faltering;
        let told = f.s >= TOLD_S;
        f.s += s;
        f.gone_mm += s * speed;
        f.wanted_mm += s * feed;
        if f.s >= TOLD_S {
            self.tell_faltering(*f, !told);
        }
    }

    /// Keeps it for the run; `first`: and in the journal.
    fn tell_faltering(&mut self, f: Faltering, first: bool) {
        let Some(run) = &mut self.run else { return };
        let faltered = Faltered {
            cut: run.cut + 1,
            for_s: f.s,
            mm_s: f.gone_mm / f.s,
            wanted_mm_s: f.wanted_mm / f.s,
        };
        if first {
            run.faltered.push(faltered);
        } else if let Some(last) = run.faltered.last_mut() {
            *last = faltered;
        }
        let id = run.id;
        if first {
            self.record(
                Event::Faltered {
                    run: id,
                    cut: faltered.cut,
                    mm_s: faltered.mm_s,
                    wanted_mm_s: faltered.wanted_mm_s,
                },
                false,
            );
        }
        self.out.publish();
    }
}
