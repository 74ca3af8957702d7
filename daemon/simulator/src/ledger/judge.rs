//! The closed list of physical wrongs, each seen by itself.

use units::Point;

const MS: u64 = 1_000_000;
/// The arc is out this long after K2 opened.
const ARC_AFTER_K2_NS: u64 = 20 * MS;
/// The relays and the source have this long after the emergency stop chain opened.
const ARC_AFTER_CHAIN_NS: u64 = 30 * MS;
/// Slack on the relay's drop-out time.
const DROP_SLACK_NS: u64 = 2 * MS;
/// Standstill under the arc once the pierce is over.
const STANDSTILL_NS: u64 = 150 * MS;
/// Rising more than this above the lowest it burned at is lifting, mm.
const LIFT_MM: f64 = 1.0;
/// Within this of the sheet is near it, mm.
const NEAR_SHEET_MM: f64 = 5.0;
/// Lower than this over the surface it may rise under the arc: it is about to touch, mm.
const FLOOR_MM: f64 = 0.5;
/// Slower than this it stands, mm/s: however short a step is, it tells the same.
const STILL_MM_S: f64 = 1e-3;
/// It stands once it has been still for so long, ns.
const STOOD_NS: u64 = 500_000;
/// So many wrongs are kept; a run that makes more has said enough.
const KEPT: usize = 200;

/// What is seen of the table in one step.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Seen {
    pub(crate) now: u64,
    pub(crate) dt: u64,
    pub(crate) place: Point,
    /// Tip above the local surface, mm.
    pub(crate) height_mm: f64,
    /// In the plane, in this step, mm.
    pub(crate) moved_mm: f64,
    /// Of the drives in the plane, in this step, mm: the carriage may stand while they take up its play.
    pub(crate) driven_mm: f64,
    /// Along Z, in this step, mm.
    pub(crate) moved_z_mm: f64,
    /// The arc burns onto metal.
    pub(crate) arc: bool,
    /// Pilot or arc.
    pub(crate) burning: bool,
    /// The source stays on by itself (`arc-stuck`): nothing on this side can put it out.
    pub(crate) stuck_on: bool,
    /// The contact of K1, or of K2, is welded or slow: what follows from that alone is no wrong of who
    /// commands it.
    pub(crate) k1_wrong: bool,
    pub(crate) k2_wrong: bool,
    /// Both start contacts are closed.
    pub(crate) circuit: bool,
    pub(crate) k2: bool,
    pub(crate) last_pulse: Option<u64>,
    pub(crate) chain_open: bool,
    /// The sensing circuit is connected to the torch.
    pub(crate) sensing: bool,
    /// The controller is in a hold.
    pub(crate) holding: bool,
    /// An XY rapid is under way.
    pub(crate) rapid: bool,
    /// Beyond the sheet's edge, mm; 0 over it.
    pub(crate) outside_mm: f64,
    /// There is metal under the torch.
    pub(crate) metal: bool,
}

impl Seen {
    /// No motion goes less far in this step, mm.
    fn still_mm(&self) -> f64 {
        STILL_MM_S * self.dt as f64 / 1e9
    }

    /// It moves in the plane.
    fn moves(&self) -> bool {
        self.moved_mm > self.still_mm()
    }
}

/// What the judge has to know of this table.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Limits {
    pub(crate) permit_drop_ms: u64,
    pub(crate) rapid_floor_mm: f64,
}

/// Something that lasts, and whether it was told already.
#[derive(Clone, Copy, Debug, Default)]
struct Episode {
    since: Option<u64>,
    told: bool,
}

impl Episode {
    /// True once, when it has lasted for `limit`.
    fn lasts(&mut self, now: u64, on: bool, limit: u64) -> bool {
        if !on {
            *self = Self::default();
            return false;
        }
        let since = *self.since.get_or_insert(now);
        let tell = !self.told && now >= since + limit;
        self.told |= tell;
        tell
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Judge {
    limits: Limits,
    violations: Vec<String>,
    k2_open_since: Option<u64>,
    chain_open_since: Option<u64>,
    arc_without_k2: Episode,
    k2_without_pulse: Episode,
    arc_with_chain_open: Episode,
    still_in_hold_ns: u64,
    moved_in_hold: Episode,
    low_rapid: Episode,
    lowest_mm: Option<f64>,
    /// Above its lowest place since the arc came on, by its own motion, mm.
    risen_mm: f64,
    lifted: Episode,
    sensing_fire: Episode,
    off_plate_fire: Episode,
    circuit: bool,
    moved_in_arc: bool,
    standing: Episode,
    epoch: Option<u32>,
    last_line: u32,
}

impl Judge {
    pub(super) fn new(limits: Limits) -> Self {
        Self {
            limits,
            violations: Vec::new(),
            k2_open_since: Some(0),
            chain_open_since: None,
            arc_without_k2: Episode::default(),
            k2_without_pulse: Episode::default(),
            arc_with_chain_open: Episode::default(),
            still_in_hold_ns: 0,
            moved_in_hold: Episode::default(),
            low_rapid: Episode::default(),
            lowest_mm: None,
            risen_mm: 0.0,
            lifted: Episode::default(),
            sensing_fire: Episode::default(),
            off_plate_fire: Episode::default(),
            circuit: false,
            moved_in_arc: false,
            standing: Episode::default(),
            epoch: None,
            last_line: 0,
        }
    }

    pub(super) fn violations(&self) -> &[String] {
        &self.violations
    }

    fn tell(&mut self, now: u64, at: Option<Point>, what: &str) {
        if self.violations.len() >= KEPT {
            return;
        }
        let place = at.map_or(String::new(), |p| format!(" at x {:.1} y {:.1}", p.x, p.y));
        self.violations
            .push(format!("{what} ({:.3} s{place})", now as f64 / 1e9));
    }

    /// Another sheet lies there; the controller's lines count on.
    pub(super) fn goes_on_from(&mut self, before: &Self) {
        (self.epoch, self.last_line) = (before.epoch, before.last_line);
    }

    pub(super) fn executed(&mut self, now: u64, epoch: u32, number: u32) {
        if self.epoch != Some(epoch) {
            self.epoch = Some(epoch);
            self.last_line = 0;
        }
        if number <= self.last_line {
            self.tell(
                now,
                None,
                &format!("line {number} of epoch {epoch} was executed twice"),
            );
        } else if number > self.last_line + 1 {
            let missed = self.last_line + 1;
            self.tell(
                now,
                None,
                &format!(
                    "line {missed} of epoch {epoch} was never executed though line {number} was"
                ),
            );
        }
        self.last_line = self.last_line.max(number);
    }

    pub(super) fn see(&mut self, s: &Seen) {
        self.circuits(s);
        self.motion(s);
        self.arc(s);
        self.circuit = s.circuit;
    }

    fn circuits(&mut self, s: &Seen) {
        let since = |on: bool, was: Option<u64>| on.then(|| was.unwrap_or(s.now));
        self.k2_open_since = since(!s.k2, self.k2_open_since);
        self.chain_open_since = since(s.chain_open, self.chain_open_since);
        let later = |from: Option<u64>, limit: u64| from.is_some_and(|t| s.now > t + limit);

        let wrong = s.burning && !s.stuck_on && later(self.k2_open_since, ARC_AFTER_K2_NS);
        if self.arc_without_k2.lasts(s.now, wrong, 0) {
            self.tell(s.now, Some(s.place), "arc more than 20 ms after K2 opened");
        }
        let drop = self.limits.permit_drop_ms * MS + DROP_SLACK_NS;
        let wrong = s.k2 && !s.k2_wrong && s.last_pulse.is_none_or(|t| s.now > t + drop);
        if self.k2_without_pulse.lasts(s.now, wrong, 0) {
            self.tell(
                s.now,
                None,
                "K2 closed later than its drop-out time after the last pulse",
            );
        }
        let wrong = s.burning && !s.stuck_on && later(self.chain_open_since, ARC_AFTER_CHAIN_NS);
        if self.arc_with_chain_open.lasts(s.now, wrong, 0) {
            self.tell(
                s.now,
                Some(s.place),
                "arc later than the relay time after the emergency stop opened",
            );
        }
        if self.sensing_fire.lasts(s.now, s.circuit && s.sensing, 0) {
            self.tell(
                s.now,
                Some(s.place),
                "fire with the sensing circuit connected",
            );
        }
        let struck = s.circuit && (!self.circuit || self.off_plate_fire.since.is_some());
        if self.off_plate_fire.lasts(s.now, struck && !s.metal, 0) {
            self.tell(s.now, Some(s.place), "fire off the plate");
        }
    }

    fn motion(&mut self, s: &Seen) {
        let driven = s.driven_mm > s.still_mm() || s.moved_z_mm.abs() > s.still_mm();
        let moves = driven || s.moves();
        let wrong = s.holding && moves && self.still_in_hold_ns >= STOOD_NS;
        if !s.holding || (moves && !wrong) {
            self.still_in_hold_ns = 0;
        } else if !moves {
            self.still_in_hold_ns += s.dt;
        }
        if self.moved_in_hold.lasts(s.now, wrong, 0) {
            self.tell(s.now, Some(s.place), "motion after standstill in a hold");
        }
        let low = s.rapid
            && (s.moves() || self.low_rapid.since.is_some())
            && s.outside_mm <= NEAR_SHEET_MM
            && s.height_mm < self.limits.rapid_floor_mm;
        if self.low_rapid.lasts(s.now, low, 0) {
            self.tell(
                s.now,
                Some(s.place),
                &format!(
                    "XY rapid below traverse or hop height, {:.1} mm above the sheet",
                    s.height_mm
                ),
            );
        }
    }

    fn arc(&mut self, s: &Seen) {
        if !s.arc {
            self.lowest_mm = None;
            self.risen_mm = 0.0;
            self.moved_in_arc = false;
        } else {
            // Its own motion counts: a sheet that falls away below the torch is no lift.
            self.risen_mm = (self.risen_mm + s.moved_z_mm).max(0.0);
            let lowest = self.lowest_mm.map_or(s.height_mm, |l| l.min(s.height_mm));
            self.lowest_mm = Some(lowest);
            self.moved_in_arc |= s.moves();
        }
        let lifted = s.arc
            && !s.stuck_on
            && self.risen_mm > LIFT_MM
            && self.lowest_mm.is_some_and(|l| l > FLOOR_MM);
        if self.lifted.lasts(s.now, lifted, 0) {
            self.tell(
                s.now,
                Some(s.place),
                &format!("Z lifted under a live arc, to {:.1} mm", s.height_mm),
            );
        }
        let stands = s.arc && !s.stuck_on && !s.k1_wrong && self.moved_in_arc && !s.moves();
        if self.standing.lasts(s.now, stands, STANDSTILL_NS) {
            self.tell(
                s.now,
                Some(s.place),
                "arc burning at standstill for over 150 ms after the pierce",
            );
        }
    }
}

#[cfg(test)]
mod tests;
