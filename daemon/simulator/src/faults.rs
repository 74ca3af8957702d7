//! What goes wrong by order: where it waits to happen, and what is wrong now.

use units::Point;

use crate::harness::{FaultKind, FaultSpec};

/// Closer than this to a pierce point is at it, mm.
const HERE_MM: f64 = 1.0;
/// A piece stands up this far before the torch arrives, mm.
const TIP_BEFORE_MM: f64 = 15.0;
/// An arc that is to be lost at its pierce burns this long, ns.
const PIERCE_LOSS_NS: u64 = 50_000_000;

/// A fault that waits for its place.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    spec: FaultSpec,
    pierce: Point,
    /// Its station was passed, ...
    passed: bool,
    /// ... and that fire is over: it acts wherever its moment comes next.
    anywhere: bool,
}

/// What the torch is about, for faults to find their moment.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Moment {
    pub(crate) now: u64,
    pub(crate) place: Point,
    pub(crate) at_rest: bool,
    /// A touch-off is under way.
    pub(crate) touching: bool,
    /// ... and has met something.
    pub(crate) met: bool,
    /// The sensing circuit has just been connected.
    pub(crate) sense_came: bool,
    /// The start contact is closed.
    pub(crate) fire: bool,
    pub(crate) arc_since: Option<u64>,
    /// Cut in hand (from 0) and station, while the arc burns on it.
    pub(crate) in_hand: Option<(usize, f64)>,
    /// XY rapid under way: where to, and how far yet.
    pub(crate) rapid: Option<(Point, f64)>,
}

/// What waits to go wrong.
#[derive(Clone, Debug, Default)]
pub(crate) struct Waitings(Vec<Waiting>);

impl Waitings {
    pub(crate) fn add(&mut self, spec: FaultSpec, pierce: Point) {
        self.0.push(Waiting {
            spec,
            pierce,
            passed: false,
            anywhere: false,
        });
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(crate) fn clear(&mut self) {
        self.0.clear();
    }

    /// Takes out what happens now.
    pub(crate) fn come(&mut self, m: &Moment) -> Vec<FaultSpec> {
        let mut come = Vec::new();
        self.0.retain_mut(|w| {
            let now = w.comes(m);
            if now {
                come.push(w.spec);
            }
            !now
        });
        come
    }
}

impl Waiting {
    fn comes(&mut self, m: &Moment) -> bool {
        use FaultKind as K;
        let mut here = m.place.distance(self.pierce) <= HERE_MM;
        if let Some(mm) = self.spec.mm {
            let reached = m
                .in_hand
                .is_some_and(|(cut, s)| cut + 1 == self.spec.cut && s >= mm);
            match self.spec.kind {
                K::NoArc | K::ContactStuck | K::NoContact => {
                    self.passed |= reached;
                    self.anywhere |= self.passed && !m.fire;
                    here = self.anywhere;
                }
                _ => return reached,
            }
        }
        match self.spec.kind {
            K::ArcLost => here && m.arc_since.is_some_and(|t| m.now >= t + PIERCE_LOSS_NS),
            K::NoArc | K::ArcStuck => here && m.fire,
            // When the circuit is to be connected for the touch-off, be it connected already; a
            // bridge left by the touch itself if nobody told it to be.
            K::ContactStuck => here && m.at_rest && (m.sense_came || m.met),
            K::NoContact => here && m.touching,
            K::Estop | K::LinkCut | K::ControllerReset | K::AirLow | K::PanelKilled => {
                here && (m.touching || m.fire)
            }
            K::TipOver => m.rapid.is_some_and(|(to, left)| {
                to.distance(self.pierce) <= HERE_MM && left <= TIP_BEFORE_MM
            }),
        }
    }
}

/// What is wrong with the table now and lasts until somebody does something about it.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Wrongs {
    pub(crate) chain_open: bool,
    /// When it opened, and when the hand that frees the button lets it close.
    pub(crate) chain_opened_at: u64,
    pub(crate) chain_closes_at: Option<u64>,
    pub(crate) unplugged: bool,
    pub(crate) air_low: bool,
    pub(crate) bridged: bool,
    pub(crate) sense_broken: bool,
    pub(crate) unseated: bool,
    /// A piece stands here.
    pub(crate) standing: Option<Point>,
}
