//! A place that jumps: the controller counts anew, whether or not anybody heard it start.

use core::time::Duration;

use link::Status;
use units::{Point, Time};

use super::{Act, Machine};

/// The axes may be so many times faster than the machine file says: a rapid is at the controller's
/// own speed (ours).
const FASTER: f64 = 1.5;
/// Reports may be so much closer together than what they tell, where the controller tells its own
/// time: the moment is rounded, and the place is taken a little after it (ours).
const STAMPED_LATE: Duration = Duration::from_millis(20);
/// Never less than this is a jump, mm: the digits of a report, noise, a little play (ours).
const LEAST_MM: f64 = 2.0;

/// Where the controller was seen by a report.
#[derive(Clone, Copy, Debug)]
struct Seen {
    at: Time,
    up_ms: Option<u64>,
    place: Point,
    z: f64,
}

/// What is remembered of the last reports.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Sight {
    last: Option<Seen>,
    /// A report that cannot follow from the last: noise, unless the next one bears it out.
    odd: Option<Seen>,
    /// The panel was kept waiting: reports tell nothing of the time between them until then.
    blind_until: Option<Time>,
}

impl Sight {
    pub(crate) fn forget(&mut self) {
        self.last = None;
        self.odd = None;
    }
}

impl Machine {
    /// The panel was not stepped for longer than a controller may be silent.
    pub(super) fn kept_waiting(&mut self, since: Time) {
        let silence = self.line.silence();
        if self.now.since(since) > silence {
            self.line.sight.blind_until = Some(self.now + silence);
        }
    }

    /// Whether a place can follow from another: no axis gets further in the time between. A report that
    /// carries no time of the controller's may be as late as its silence may last.
    fn follows(&self, a: &Seen, b: &Seen) -> bool {
        let span = match (a.up_ms, b.up_ms) {
            (Some(a), Some(b)) => Duration::from_millis(b.saturating_sub(a)) + STAMPED_LATE,
            _ => b.at.since(a.at) + self.line.silence(),
        };
        let s = span.as_secs_f64() * FASTER;
        let set = &self.settings;
        a.place.distance(b.place) <= set.rapid_mm_s * s + LEAST_MM
            && (a.z - b.z).abs() <= set.rapid_z_mm_s * s + LEAST_MM
    }

    /// Takes a report; why its place is not the one that was counted on, if it is not. Two reports in a
    /// row must say so. While the axes are referenced, or know nothing, no place has a meaning.
    pub(super) fn place_jumped(&mut self, status: &Status) -> Option<String> {
        let seen = Seen {
            at: status.at,
            up_ms: status.up_ms,
            place: status.place,
            z: status.z,
        };
        let knows = self.reference.homed && status.referenced != Some(false);
        let blind = self.line.sight.blind_until.is_some_and(|t| self.now < t);
        if !knows || blind || matches!(self.act, Act::Homing { .. }) {
            self.line.sight.odd = None;
            self.line.sight.last = knows.then_some(seen);
            return None;
        }
        let last = self.line.sight.last.unwrap_or(seen);
        if self.follows(&last, &seen) {
            self.line.sight.last = Some(seen);
            self.line.sight.odd = None;
            return None;
        }
        match self.line.sight.odd.replace(seen) {
            Some(odd) if self.follows(&odd, &seen) => Some(format!(
                "Its place jumped by {:.0} mm: no axis is as fast.",
                last.place.distance(seen.place).max((last.z - seen.z).abs())
            )),
            _ => None,
        }
    }
}
