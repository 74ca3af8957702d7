//! What goes into a step and what comes out.

use serde::{Deserialize, Serialize};

use crate::ask::{Answer, Ask, AskId};
use crate::event::Event;
use crate::guard::{GuardOrder, GuardReport};
use crate::outputs::{Output, OutputLevels};
use crate::signals::{Seen, Signals};

/// Names one record until it is on the disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct RecordId(pub u64);

/// Everything that can happen. Kept by the recorder so that a run can be replayed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "input")]
pub enum Input {
    /// Time has passed (a deadline of [`crate::Machine::deadline`] was reached).
    Tick,
    /// The serial port was opened; its input was cleared.
    LinkOpened,
    /// The serial port could not be opened, or hung up.
    LinkLost {
        /// In the system's words.
        why: String,
    },
    /// Bytes came in from the controller.
    Bytes {
        /// As they came.
        bytes: Vec<u8>,
    },
    /// The guard read the inputs: on every edge, and at least every 50 ms.
    Signals {
        /// The levels.
        signals: Signals,
        /// When they were seen; `None` (recordings of before): in this moment.
        #[serde(default)]
        seen: Option<Seen>,
    },
    /// The guard acted or saw something.
    Guard {
        /// What.
        report: GuardReport,
    },
    /// Somebody asks for something.
    Ask {
        /// To match the answer.
        id: AskId,
        /// The generation of the view that the asker saw.
        generation: u64,
        /// What.
        ask: Ask,
    },
    /// A record is on the disk.
    Durable {
        /// Which (and all before it).
        id: RecordId,
    },
    /// The journal could not be written.
    RecordFailed {
        /// In the system's words.
        why: String,
    },
    /// The screen that commanded last has come or gone. Never said of a table that none commanded.
    Screen {
        /// Its beat is alive.
        there: bool,
    },
    /// An optional output could not be driven, or can be again.
    Output {
        /// Which.
        output: Output,
        /// In the system's words; `None`: it can be.
        failed: Option<String>,
    },
}

/// Something to be done. The shell does them in order and decides nothing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "effect")]
pub enum Effect {
    /// Write these bytes to the controller. `take_away`: they pass in every epoch; others are
    /// dropped by the shell if the guard has tripped since the machine last said
    /// [`GuardOrder::Handled`].
    Write {
        /// What to write.
        bytes: Vec<u8>,
        /// Hold, torch-off, flush or report, and nothing else.
        take_away: bool,
    },
    /// Try to open the serial port; answered by `LinkOpened` or `LinkLost`.
    OpenLink,
    /// Close the serial port.
    CloseLink,
    /// Tell the guard.
    Guard {
        /// What.
        order: GuardOrder,
    },
    /// Write an event to the journal.
    Record {
        /// To match [`Input::Durable`].
        id: RecordId,
        /// What happened.
        event: Event,
        /// Commit with a full sync at once and answer with `Durable`; otherwise within 100 ms.
        durable: bool,
    },
    /// The optional outputs are to be so from now on; before the first of these all are off.
    Outputs {
        /// Those that are not fitted are off.
        levels: OutputLevels,
    },
    /// The view has changed.
    Publish,
    /// Answer a request.
    Answer {
        /// Which.
        id: AskId,
        /// How.
        answer: Answer,
    },
}

/// The effects of one step: stop effects first, records after.
#[must_use = "effects that are not carried out are promises broken"]
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Effects(pub Vec<Effect>);
