//! Relays: K1 follows the controller's torch output, K2 follows pulses, K3 connects the sensing
//! circuit. The emergency stop chain feeds the coils of K1 and K2.

const MS: u64 = 1_000_000;

/// A contact that follows its coil after a while.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Contact {
    closed: bool,
    due: Option<(u64, bool)>,
    close_ns: u64,
    open_ns: u64,
    slow_ns: u64,
    welded: bool,
}

impl Contact {
    pub(crate) fn new(close_ms: u64, open_ms: u64) -> Self {
        Self {
            closed: false,
            due: None,
            close_ns: close_ms * MS,
            open_ns: open_ms * MS,
            slow_ns: 0,
            welded: false,
        }
    }

    pub(crate) fn coil(&mut self, now: u64, on: bool) {
        let going_to = self.due.map_or(self.closed, |d| d.1);
        if going_to != on {
            let lag = if on {
                self.close_ns
            } else {
                self.open_ns + self.slow_ns
            };
            self.due = (on != self.closed).then_some((now + lag, on));
        }
    }

    pub(crate) fn advance(&mut self, now: u64) {
        if let Some((at, level)) = self.due
            && at <= now
        {
            self.closed = level;
            self.due = None;
        }
    }

    pub(crate) fn closed(&self) -> bool {
        self.closed || self.welded
    }

    pub(crate) fn wrong(&mut self, wrong: RelayWrong) {
        self.welded = wrong.welded;
        let was = core::mem::replace(&mut self.slow_ns, wrong.slow_ms * MS);
        // One that is put right while it opens late opens as a sound one does: at once, if that is over.
        if let Some((at, false)) = &mut self.due {
            *at -= was.saturating_sub(self.slow_ns).min(*at);
        }
    }

    pub(crate) fn next(&self) -> Option<u64> {
        self.due.map(|d| d.0)
    }
}

/// What can be wrong with the relay of the sensing circuit. The default is a sound one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SenseWrong {
    /// The circuit stays connected (`true`) or off (`false`), whatever the coil is told.
    pub stuck: Option<bool>,
    /// The mirror says isolated (`true`) or not, whatever the contact does.
    pub mirror: Option<bool>,
}

impl SenseWrong {
    pub(crate) fn contact(self, told: bool) -> bool {
        self.stuck.unwrap_or(told)
    }
}

/// What can be wrong with the contact of a start relay. The default is a sound one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RelayWrong {
    /// The contact stays closed whatever its coil does.
    pub welded: bool,
    /// It opens so much later than it should, ms.
    pub slow_ms: u64,
    /// Its mirror says closed (`true`) or open, whatever the contact does.
    pub mirror: Option<bool>,
}

impl RelayWrong {
    /// The contact itself is not sound.
    pub(crate) fn holds(self) -> bool {
        self.welded || self.slow_ms > 0
    }
}

/// The missing-pulse relay. Its input passes a capacitor: only edges count, and an edge is part of
/// a pulse only if another came shortly before it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PulseRelay {
    level: bool,
    last_edge: Option<u64>,
    last_pulse: Option<u64>,
    run: u32,
    alive: bool,
    contact: Contact,
    drop_ns: u64,
}

/// Longest time between the two edges of a pulse: 100 Hz has 5 ms.
const PULSE_NS: u64 = 12 * MS;
/// Edges in a row before the coil is fed: two pulses.
const EDGES_TO_CLOSE: u32 = 4;
/// The contact opens this long after its coil is let go.
const RELEASE_MS: u64 = 5;

impl PulseRelay {
    pub(crate) fn new(drop_ms: u64) -> Self {
        Self {
            level: false,
            last_edge: None,
            last_pulse: None,
            run: 0,
            alive: false,
            contact: Contact::new(5, RELEASE_MS),
            drop_ns: drop_ms.saturating_sub(RELEASE_MS) * MS,
        }
    }

    pub(crate) fn level(&mut self, now: u64, level: bool) {
        if level == self.level {
            return;
        }
        self.level = level;
        let pulse = self.last_edge.is_some_and(|e| now - e <= PULSE_NS);
        self.last_edge = Some(now);
        if pulse {
            self.last_pulse = Some(now);
            self.run = self.run.saturating_add(1);
        } else {
            self.run = 1;
        }
    }

    /// `fed`: the chain gives the coil its supply.
    pub(crate) fn advance(&mut self, now: u64, fed: bool) {
        self.alive = self.last_pulse.is_some_and(|p| now < p + self.drop_ns);
        if !self.alive && self.last_edge.is_some_and(|e| now > e + PULSE_NS) {
            self.run = 0;
        }
        let held = self.alive && (self.run >= EDGES_TO_CLOSE || self.contact.closed());
        self.contact.coil(now, held && fed);
        self.contact.advance(now);
    }

    pub(crate) fn closed(&self) -> bool {
        self.contact.closed()
    }

    pub(crate) fn wrong(&mut self, wrong: RelayWrong) {
        self.contact.wrong(wrong);
    }

    /// The last edge that was part of a pulse.
    pub(crate) fn last_pulse(&self) -> Option<u64> {
        self.last_pulse
    }

    pub(crate) fn next(&self) -> Option<u64> {
        let drop = self
            .last_pulse
            .filter(|_| self.alive)
            .map(|p| p + self.drop_ns);
        match (self.contact.next(), drop) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds edges every 5 ms from 0 up to and with `until`, then watches until `end`; gives the
    /// times of closing and opening.
    fn watch(until_ms: u64, end_ms: u64) -> (Option<u64>, Option<u64>) {
        let mut k2 = PulseRelay::new(60);
        let (mut closed, mut opened) = (None, None);
        for ms in 0..=end_ms {
            let now = ms * MS;
            if ms % 5 == 0 && ms <= until_ms {
                k2.level(now, ms % 10 == 0);
            }
            k2.advance(now, true);
            if k2.closed() && closed.is_none() {
                closed = Some(ms);
            }
            if closed.is_some() && !k2.closed() && opened.is_none() {
                opened = Some(ms);
            }
        }
        (closed, opened)
    }

    #[test]
    fn pulses_close_it_and_it_drops_out_60_ms_after_the_last() {
        assert_eq!(watch(200, 400), (Some(20), Some(260)));
    }

    #[test]
    fn a_relay_that_is_put_right_while_it_opens_late_opens_as_a_sound_one() {
        let mut k2 = PulseRelay::new(60);
        k2.wrong(RelayWrong {
            slow_ms: 30,
            ..RelayWrong::default()
        });
        for ms in 0..=263 {
            if ms % 5 == 0 && ms <= 200 {
                k2.level(ms * MS, ms % 10 == 0);
            }
            k2.advance(ms * MS, true);
        }
        // Sound it would have opened 3 ms ago.
        assert!(k2.closed());
        k2.wrong(RelayWrong::default());
        k2.advance(264 * MS, true);
        assert!(!k2.closed());
    }

    #[test]
    fn one_edge_or_a_stuck_level_never_closes_it() {
        assert_eq!(watch(0, 400), (None, None));
        assert_eq!(watch(5, 400), (None, None));
    }

    #[test]
    fn slow_edges_do_not_hold_it() {
        let mut k2 = PulseRelay::new(60);
        for ms in 0..2000 {
            if ms < 300 && ms % 5 == 0 {
                k2.level(ms * MS, ms % 10 == 0);
            } else if ms % 20 == 0 {
                k2.level(ms * MS, ms % 40 == 0);
            }
            k2.advance(ms * MS, true);
            assert!(ms < 360 || !k2.closed(), "closed at {ms}");
        }
    }

    #[test]
    fn the_chain_takes_the_coil_whatever_the_pulses_say() {
        let mut k2 = PulseRelay::new(60);
        for ms in 0..200 {
            if ms % 5 == 0 {
                k2.level(ms * MS, ms % 10 == 0);
            }
            k2.advance(ms * MS, ms < 100);
        }
        assert!(!k2.closed());
    }
}
