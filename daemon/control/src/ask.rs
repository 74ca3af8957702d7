//! What a person (or the automatic operator of a practice run) may ask for, and the answers.

use std::sync::Arc;

use planning::Job;
use process::commissioning::Step;
use serde::{Deserialize, Serialize};
use strum::VariantArray;

use crate::cause::Cause;
use crate::parts::Part;
use crate::resume::Splice;

/// Names one request until it is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct AskId(pub u64);

/// Names one press of HOLD. A screen sends a press again, under the same name, until it is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PressId(pub u64);

/// A request. None of them can make the torch fire by itself: firing needs the whole cycle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Ask {
    /// Take this sealed job. Only when nothing runs.
    Load {
        /// The job.
        job: Arc<Job>,
    },
    /// Put the job away. Only when nothing runs.
    Unload,
    /// The operator vouches (or takes back) that one of the checks is true.
    Vouch {
        /// Which check.
        check: CheckId,
        /// True, or taken back.
        yes: bool,
    },
    /// Start the loaded job at its first cut.
    Start,
    /// Stop now: arc out, motion stopped on the path. Taken in every state, whatever generation.
    Hold {
        /// Which press; `None`: a new one (recordings of panels that knew no names, and the panel
        /// itself when it ends).
        #[serde(default)]
        press: Option<PressId>,
    },
    /// Stop after this cut.
    HoldAfterCut,
    /// Go on from a hold, or with an interrupted run, by a plan that was accepted and sealed.
    Resume {
        /// The sealed plan; `None` only in recordings of panels that knew none: refused.
        #[serde(default)]
        splice: Option<Arc<Splice>>,
    },
    /// Leave this cut and go on to the next.
    SkipCut,
    /// End the job here.
    EndJob,
    /// An alarm was seen: it only goes quiet.
    Seen {
        /// Which.
        cause: Cause,
    },
    /// Clear a latch. Refused while its cause stands.
    Clear {
        /// Which.
        cause: Cause,
    },
    /// Reference the axes.
    Home,
    /// After a doubtful place was referenced, and nothing is cut yet: the torch is where the screen
    /// says.
    ConfirmPlace,
    /// Take the torch to the next mark of the datum check.
    DatumGo,
    /// Move it a little over the mark, machine directions.
    DatumNudge {
        /// Along X, mm.
        dx_mm: f64,
        /// Along Y, mm.
        dy_mm: f64,
    },
    /// It stands over the mark.
    DatumHere,
    /// Move the torch by hand: while this is asked again under the same press, or one step. It cannot fire.
    HandMove(HandMove),
    /// The key was let go: stop. Taken whatever generation.
    HandStop,
    /// Take the torch to a place, up first.
    HandGo {
        /// Where.
        to: HandPlace,
    },
    /// Let the permit relay pull and drop once, with the source isolated.
    PermitTest,
    /// Change torch parts: from a hold or at rest. The torch goes to the place for it.
    ChangeBegin,
    /// The source is isolated: seen where its contact is wired, else the operator vouches for it.
    ChangeIsolated,
    /// These parts were changed, and this set is fitted now. Their counts begin anew.
    ChangeParts {
        /// What was changed; nothing where a part was only cleaned.
        parts: Vec<Part>,
        /// Tag of the set that is fitted; `None`: as before.
        set: Option<String>,
    },
    /// The contact is not tried with metal in a hand: the touch of the sheet does it.
    ChangeContactByTouch,
    /// The source is on again and everybody is clear of the torch.
    ChangeSourceOn,
    /// Touch the sheet with the new parts. The torch moves; it cannot fire.
    ChangeTouch,
    /// The change is over: back in the hold, or at rest.
    ChangeEnd,
    /// Leave the change where it stands. Counts that were begun anew stay so.
    ChangeCancel,
    /// Begin a step of commissioning anew. Only at rest, with no run open.
    CommissionStep {
        /// Which.
        step: Step,
    },
    /// The answer to what the open step asks.
    CommissionAnswer {
        /// Yes, or no.
        yes: bool,
    },
    /// Leave the open step: an older record of it stays.
    CommissionLeave,
    /// Light the beacon, sound each pattern of the sounder and run the extraction for some seconds. Only at rest.
    LampTest,
}

/// A move by hand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandMove {
    /// Along which axis of the machine.
    pub axis: HandAxis,
    /// Toward greater coordinates; along Z: away from the sheet.
    pub forward: bool,
    /// Which press: a key that is kept pressed asks again under the same name.
    pub press: PressId,
    /// One step of so many millimetres, at most 10; `None`: as long as the press is renewed.
    #[serde(default)]
    pub step_mm: Option<f64>,
}

/// An axis of the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the axes have no other names")]
pub enum HandAxis {
    X,
    Y,
    Z,
}

/// A place that the torch can be taken to by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HandPlace {
    /// The sheet's lower left corner, where it is believed to lie.
    Corner,
    /// The parking place.
    Park,
}

/// Where a held cut was taken up again, in journals of panels that knew no plans.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "way")]
pub enum ResumeFrom {
    /// On the path, this far before the place where it stopped, mm. Held within the path.
    Back {
        /// Distance, mm, 0 or more.
        mm: f64,
    },
    /// The whole cut again from its pierce.
    Restart,
}

/// A condition that must hold before a start.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, VariantArray,
)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "each is described by `words::check`")]
pub enum CheckId {
    // The machine sees these (those that are fitted).
    JobSealed,
    NoLatch,
    /// What the panel sees of inputs and controller is young enough to be acted on.
    InputsFresh,
    EstopClosed,
    LinkAlive,
    Referenced,
    PlaceSure,
    ArcOkOpen,
    FireOnOpen,
    ContactOpen,
    AirGood,
    SourceOn,
    TorchSeated,
    GateClosed,
    PermitOpen,
    PermitTested,
    SelfTested,
    RecordKept,
    SetFits,
    PartsTested,
    SenseIsolated,
    HoldReleased,
    HoldButtonWorks,
    EstopWorks,
    /// The steps of commissioning that guard a person have passed on this table as it is.
    Commissioned,
    // The operator vouches for these.
    ClampOnSkeleton,
    SheetFixed,
    SlatsClear,
    EyesAndEars,
    NobodyInside,
    ExtractionOn,
    FireWatch,
    RightParts,
    /// For a permit test alone, and for one test: the source is off, or the start plug is out.
    SourceOff,
    /// Where no mirror shows the permit relay: it was seen or measured in the test.
    RelaySeen,
}

/// The answer to a request. A refusal is an answer, not an error.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "answer")]
pub enum Answer {
    /// It will be done, or is done.
    Accepted,
    /// It is so already; nothing changes.
    AlreadySo,
    /// It will not be done.
    Refused {
        /// A stable short name of the reason.
        reason: String,
        /// The reason in words.
        says: String,
        /// What to do.
        remedy: String,
    },
}
