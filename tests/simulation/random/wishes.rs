//! Requests at drawn states: HOLD, hold after this cut, go on, leave this cut, end the job, asked when
//! the machine comes to a drawn step of a job, of a stop, of a second try or of a change of torch
//! parts; once, or twice in quick succession.
//!
//! A *cell* is a request at a state: of [`WANTED`] and [`STATES`]. `requests.rs` comes to each of them and
//! fails on one that it never came to.

use std::collections::BTreeMap;

use control::Machine;
use control::view::{ChangeStep, Phase, Step, View, Waiting};

use crate::chance::Chance;

/// A request that can be made in any state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    Hold,
    HoldAfterCut,
    GoOn,
    Skip,
    End,
}

/// State of the machine, as far as requests are told apart by it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum State {
    /// A step of a first try.
    Run(Step),
    /// A step of a second try.
    Again(Step),
    /// A stop, and what it waits for.
    Stop(Waiting),
    /// A change of torch parts.
    Change(ChangeStep),
    /// Any other.
    Other(Phase),
}

impl State {
    /// `again`: a second try is under way; `view`: the whole of it, where that is needed.
    pub fn of(machine: &Machine, again: bool, view: impl FnOnce() -> View) -> Self {
        match (machine.phase(), machine.cycle_step()) {
            (Phase::Running, Some(step)) if again => Self::Again(step),
            (Phase::Running, Some(step)) => Self::Run(step),
            (Phase::Stopping, _) => Self::Stop(machine.waiting_for()),
            (Phase::Changing, _) => view()
                .change
                .map_or(Self::Other(Phase::Changing), |c| Self::Change(c.step)),
            (phase, _) => Self::Other(phase),
        }
    }
}

/// One request to come.
#[derive(Clone, Copy, Debug)]
pub struct Wish {
    pub wanted: Wanted,
    pub at: State,
    /// When that state has come so often, from 1.
    pub time: u32,
    /// ... and has lasted so long, or is over by then, ms.
    pub after_ms: u64,
    /// The same once more, so much later, ms; HOLD under the same name (`true`: a press sent again).
    pub again: Option<(u64, bool)>,
    /// After it nobody asks for anything for so long, ms.
    pub quiet_ms: u64,
}

/// Every kind of request.
pub const WANTED: [Wanted; 5] = [
    Wanted::Hold,
    Wanted::HoldAfterCut,
    Wanted::GoOn,
    Wanted::Skip,
    Wanted::End,
];

/// Every state at which each of them must have been made. A second try begins at the sense test and
/// parks nowhere; it is looked for up to its own stop.
pub const STATES: [State; 43] = [
    State::Run(Step::Traverse),
    State::Run(Step::SenseTest),
    State::Run(Step::ProbeFast),
    State::Run(Step::ProbeSlow),
    State::Run(Step::Validate),
    State::Run(Step::PierceHeight),
    State::Run(Step::ClearTest),
    State::Run(Step::Ready),
    State::Run(Step::AwaitArc),
    State::Run(Step::Pierce),
    State::Run(Step::Drop),
    State::Run(Step::Cut),
    State::Run(Step::Extinguish),
    State::Run(Step::ArcOffWait),
    State::Run(Step::Retract),
    State::Run(Step::Park),
    State::Again(Step::SenseTest),
    State::Again(Step::ProbeFast),
    State::Again(Step::ProbeSlow),
    State::Again(Step::Validate),
    State::Again(Step::PierceHeight),
    State::Again(Step::ClearTest),
    State::Again(Step::Ready),
    State::Again(Step::AwaitArc),
    State::Again(Step::Pierce),
    State::Again(Step::Drop),
    State::Again(Step::Cut),
    State::Stop(Waiting::MotionToStop),
    State::Stop(Waiting::ArcToGoOut),
    State::Stop(Waiting::TorchToLift),
    State::Change(ChangeStep::Park),
    State::Change(ChangeStep::Isolate),
    State::Change(ChangeStep::Swap),
    State::Change(ChangeStep::Contact),
    State::Change(ChangeStep::Source),
    State::Change(ChangeStep::Touch),
    State::Change(ChangeStep::Done),
    State::Other(Phase::Idle),
    State::Other(Phase::Ready),
    State::Other(Phase::Homing),
    State::Other(Phase::Held),
    State::Other(Phase::Latched),
    State::Other(Phase::NoLink),
];

/// A cell's name.
pub fn cell(wanted: Wanted, at: State) -> String {
    format!("{wanted:?} at {at:?}")
}

/// How often each cell was come to.
pub type Seen = BTreeMap<String, u32>;

/// The seeds below [`CELLS`] whose cells were never come to, and their names.
pub fn never(seen: &Seen) -> Vec<(u64, String)> {
    let named = (0..CELLS).map(|seed| {
        let (wanted, at) = of_seed(seed);
        (seed, cell(wanted, at))
    });
    named.filter(|(_, name)| !seen.contains_key(name)).collect()
}

/// How many cells there are.
pub const CELLS: u64 = (STATES.len() * WANTED.len()) as u64;

/// The cell of a seed: a range of them comes to each.
fn of_seed(seed: u64) -> (Wanted, State) {
    let k = (seed % CELLS) as usize;
    (WANTED[k % WANTED.len()], STATES[k / WANTED.len()])
}

/// The request of a seed's cell, made when its state comes for the first time.
pub fn at_once(seed: u64, chance: &mut Chance) -> Wish {
    let (wanted, at) = of_seed(seed);
    Wish {
        time: 1,
        after_ms: 0,
        ..wish(chance, wanted, at)
    }
}

/// The requests of a job: one of its seed's cell; what else is asked for is drawn.
pub fn draw(seed: u64, chance: &mut Chance) -> Vec<Wish> {
    let (wanted, at) = of_seed(seed);
    let mut wishes = vec![wish(chance, wanted, at)];
    for _ in 0..chance.below(4) {
        // An end ends what might come after it.
        let wanted = chance.pick(&[
            Wanted::Hold,
            Wanted::Hold,
            Wanted::Hold,
            Wanted::HoldAfterCut,
            Wanted::GoOn,
            Wanted::Skip,
        ]);
        let at = chance.pick(&STATES);
        wishes.push(wish(chance, wanted, at));
    }
    wishes
}

/// HOLD in the first cut: what brings a job to a stop or to a change of torch parts.
pub fn hold_in_a_cut() -> Wish {
    Wish {
        wanted: Wanted::Hold,
        at: State::Run(Step::Cut),
        time: 1,
        after_ms: 150,
        again: None,
        quiet_ms: 0,
    }
}

fn wish(chance: &mut Chance, wanted: Wanted, at: State) -> Wish {
    let again = chance.pick(&[None, None, Some(0), Some(1), Some(30), Some(350)]);
    let same = chance.happens(0.5);
    Wish {
        wanted,
        at,
        time: chance.pick(&[1, 1, 1, 2, 3]),
        after_ms: chance.pick(&[0, 0, 0, 1, 7, 40, 200]),
        again: again.map(|ms| (ms, same)),
        quiet_ms: chance.pick(&[0, 0, 400, 4_000, 6_000]),
    }
}
