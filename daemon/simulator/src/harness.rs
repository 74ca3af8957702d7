//! The loom of wires between a panel and the simulated table: pins, clock and hands.
//!
//! One JSON object a line over a Unix socket beside the pseudo-terminal, so that the table may be
//! a process of its own and outlive the panel. The table is the server; a connection first says
//! what it is.
//!
//! **In step.** The table sends [`ToPanel::Tick`] and waits until the panel has read every byte
//! that was sent, done all that follows, and written its own bytes: then the panel sends
//! [`ToTable::Caught`] with how many bytes it has written since the port was opened. The table
//! reads exactly so many before it goes on. A panel that does not answer within 100 ms of real
//! time is left behind and the table runs on at 1x. [`ToTable::Heard`] is an answer too: it buys a
//! panel that is alive and busy (a slow disk, a loaded machine) a second.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use units::{Point, Segment};

use crate::energy::Kerf;

pub use crate::shell::{Hands, HandsError};

/// The panel's inputs as the wires carry them (true: contact closed, but for `estop_open`).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "named as the signals of the table")]
pub struct Levels {
    pub fire_on: bool,
    pub arc_ok: bool,
    pub contact: bool,
    pub estop_open: bool,
    pub hold_button: bool,
    pub air_ok: bool,
    pub source_on: bool,
    pub torch_seated: bool,
    pub permit_closed: bool,
    pub sense_isolated: bool,
    /// Arc voltage, V.
    pub volts: f64,
}

/// The panel's optional outputs: high is on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs, reason = "named as the outputs of the table")]
pub struct OutputWires {
    pub beacon: bool,
    pub sounder: bool,
    pub extraction: bool,
}

/// What the wires of the optional outputs did since the table was switched on.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct OutputLog {
    /// The first thousand changes: table time, s, and the levels from then on.
    pub changes: Vec<(f64, OutputWires)>,
    /// How long the beacon was lit, s.
    pub beacon_s: f64,
    /// How long the extraction ran, s.
    pub extraction_s: f64,
    /// How often the sounder began to sound.
    pub notes: u64,
}

/// Contacts that opened since they were last looked at, though they may have closed again: what the
/// kernel of a board tells by its edges.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
#[allow(missing_docs, reason = "named as the signals of the table")]
pub struct OpenedBriefly {
    pub estop: bool,
    pub torch_seated: bool,
    pub gate: bool,
    /// Pulses on any input that were shorter than its debounce.
    pub short_edges: u32,
}

/// What the table says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "say")]
pub enum ToPanel {
    /// Table time has come to `now_us`.
    Tick {
        /// Counts up by one; named by the answer.
        seq: u64,
        /// Table time, microseconds.
        now_us: u64,
        /// Whether the serial cable is plugged in.
        plugged: bool,
        /// How many times [`ToTable::Opened`] was heard over this connection: tells to which
        /// opening of the port `sent` belongs.
        opens: u64,
        /// Bytes sent to the panel since the port was last opened.
        sent: u64,
        /// The wires.
        levels: Levels,
        /// What opened since the tick before.
        #[serde(default)]
        opened: OpenedBriefly,
    },
    /// Answer to a hand's request.
    Done {
        /// What was wrong with it, if anything.
        refused: Option<String>,
    },
    /// Answer to [`ToTable::AskTruth`].
    Truth {
        /// The ledger's own account.
        truth: Truth,
    },
}

/// What the table hears.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "say")]
pub enum ToTable {
    /// This connection is the panel's pins and clock: it gets ticks. One at a time; a new one
    /// takes the place of the old.
    IAmPanel,
    /// This connection is somebody's hands: it gets answers only.
    IAmHands,
    /// The panel has opened the port and cleared its input: both byte counts start again at 0.
    Opened,
    /// The permit pin has this level now.
    Permit {
        /// The level.
        level: bool,
    },
    /// The panel's optional outputs have these levels now.
    Outputs {
        /// The levels.
        wires: OutputWires,
    },
    /// The panel's guard has taken in this tick and the rest of the panel is at it: said at once, so
    /// that a busy panel is not taken for a dead one.
    Heard {
        /// Which tick.
        seq: u64,
    },
    /// The panel has done everything up to this tick.
    Caught {
        /// Which tick.
        seq: u64,
        /// Bytes written since the port was opened, by all of its threads.
        written: u64,
        /// The panel's next deadline, table time; `None`: none.
        next_us: Option<u64>,
    },
    /// Lay another sheet on the table, with what will be cut from it.
    Lay {
        /// The sheet and the cuts.
        plan: Plan,
    },
    /// Let something go wrong.
    Inject {
        /// What and where.
        fault: FaultSpec,
    },
    /// Do with the hands what clears a fault in life (release the button, switch the source on,
    /// clean the nozzle, plug the cable in). `None`: whatever is wrong now.
    Remedy {
        /// Which kind.
        fault: Option<FaultKind>,
    },
    /// Press the hold button for a moment, then the emergency stop, and release it.
    TryButtons,
    /// Nozzle and electrode are new.
    NewParts,
    /// From now on something is wrong with the wires. Nothing but new wires clears it.
    Wire {
        /// What.
        fault: WireFault,
    },
    /// A hand works one of the panel's inputs.
    Work {
        /// Which.
        input: Input,
        /// How.
        act: HandAct,
    },
    /// Ask for the ledger.
    AskTruth,
}

/// What lies on the table and is to be cut, for faults "at cut N" and for the ledger. Machine
/// coordinates, mm.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Lower left corner of the sheet.
    pub corner: Point,
    /// Sheet size.
    pub size: Point,
    /// Sheet thickness, mm.
    pub thickness_mm: f64,
    /// Material as charts name it; one that is not known counts as mild steel.
    #[serde(default)]
    pub material: String,
    /// Kerf, mm.
    pub kerf_mm: f64,
    /// Arc voltage at cut height and feed, V.
    pub volts: f64,
    /// Chart feed, mm/s.
    pub feed_mm_s: f64,
    /// Current, A.
    pub amps: f64,
    /// Cut height, mm.
    pub cut_height_mm: f64,
    /// Pierce height, mm; 0: not told.
    #[serde(default)]
    pub pierce_height_mm: f64,
    /// Each cut's path in order, from its pierce point.
    pub cuts: Vec<Vec<Segment>>,
}

impl Plan {
    /// Its kerf, and the arc that makes it.
    pub(crate) fn kerf(&self) -> Kerf {
        let watts = self.volts * self.amps;
        Kerf::new(&self.material, self.thickness_mm, self.kerf_mm, watts)
    }
}

/// Something that goes wrong at a place of the plan.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FaultSpec {
    /// What.
    pub kind: FaultKind,
    /// At which cut, from 1.
    pub cut: usize,
    /// How far along its path, mm; `None`: at its pierce or touch-off.
    pub mm: Option<f64>,
}

/// What can go wrong by order. Names are those of the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "named as on the command line")]
pub enum FaultKind {
    ArcLost,
    NoArc,
    ArcStuck,
    ContactStuck,
    NoContact,
    Estop,
    LinkCut,
    ControllerReset,
    AirLow,
    TipOver,
    /// The process of the panel is killed: by the shell, where the panel is another process.
    PanelKilled,
}

impl FaultKind {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::ArcLost,
        Self::NoArc,
        Self::ArcStuck,
        Self::ContactStuck,
        Self::NoContact,
        Self::Estop,
        Self::LinkCut,
        Self::ControllerReset,
        Self::AirLow,
        Self::TipOver,
        Self::PanelKilled,
    ];

    /// Its name on the command line and on the wire.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ArcLost => "arc-lost",
            Self::NoArc => "no-arc",
            Self::ArcStuck => "arc-stuck",
            Self::ContactStuck => "contact-stuck",
            Self::NoContact => "no-contact",
            Self::Estop => "estop",
            Self::LinkCut => "link-cut",
            Self::ControllerReset => "controller-reset",
            Self::AirLow => "air-low",
            Self::TipOver => "tip-over",
            Self::PanelKilled => "panel-killed",
        }
    }
}

/// An input of the panel, as its contact is wired.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "named as the signals of the table")]
pub enum Input {
    FireOn,
    ArcOk,
    Contact,
    Estop,
    HoldButton,
    AirOk,
    TorchSeated,
    PermitClosed,
    SenseIsolated,
}

impl Input {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::FireOn,
        Self::ArcOk,
        Self::Contact,
        Self::Estop,
        Self::HoldButton,
        Self::AirOk,
        Self::TorchSeated,
        Self::PermitClosed,
        Self::SenseIsolated,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::FireOn => "fire_on",
            Self::ArcOk => "arc_ok",
            Self::Contact => "contact",
            Self::Estop => "estop",
            Self::HoldButton => "hold_button",
            Self::AirOk => "air_ok",
            Self::TorchSeated => "torch_seated",
            Self::PermitClosed => "permit_closed",
            Self::SenseIsolated => "sense_isolated",
        }
    }

    /// The input of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|i| i.name() == name)
    }

    pub(crate) const fn closed_at_rest(self) -> bool {
        matches!(
            self,
            Self::Estop | Self::AirOk | Self::TorchSeated | Self::SenseIsolated
        )
    }

    /// Its contact is closed.
    #[must_use]
    pub const fn closed(self, levels: &Levels) -> bool {
        match self {
            Self::FireOn => levels.fire_on,
            Self::ArcOk => levels.arc_ok,
            Self::Contact => levels.contact,
            Self::Estop => !levels.estop_open,
            Self::HoldButton => levels.hold_button,
            Self::AirOk => levels.air_ok,
            Self::TorchSeated => levels.torch_seated,
            Self::PermitClosed => levels.permit_closed,
            Self::SenseIsolated => levels.sense_isolated,
        }
    }

    pub(crate) const fn set(self, levels: &mut Levels, closed: bool) {
        match self {
            Self::FireOn => levels.fire_on = closed,
            Self::ArcOk => levels.arc_ok = closed,
            Self::Contact => levels.contact = closed,
            Self::Estop => levels.estop_open = !closed,
            Self::HoldButton => levels.hold_button = closed,
            Self::AirOk => levels.air_ok = closed,
            Self::TorchSeated => levels.torch_seated = closed,
            Self::PermitClosed => levels.permit_closed = closed,
            Self::SenseIsolated => levels.sense_isolated = closed,
        }
    }
}

/// What a hand does to an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HandAct {
    /// Works it: presses, bridges, opens.
    Work,
    /// Undoes that.
    LetGo,
    /// Takes its wire off the terminal.
    WireOff,
    /// Puts it back.
    WireOn,
}

/// What can be wrong with the wires.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WireFault {
    /// The input reads open whatever its contact does: a broken wire.
    Open(Input),
    /// It reads closed whatever its contact does: a short.
    Closed(Input),
    /// It reads closed where its contact is open, and the other way.
    Inverted(Input),
    /// Its contact bounces for 60 ms.
    Bouncing(Input),
    /// Each of two reads the contact of the other.
    Crossed(Input, Input),
    /// The start contact K1 is welded.
    K1Welded,
    /// The permit relay's contact K2 is welded.
    K2Welded,
    /// The sensing circuit stays on the torch.
    K3Stuck,
    /// The start wires are broken: the source never hears of a fire.
    StartOpen,
    /// The arc volts have the wrong sign.
    VoltsInverted,
    /// The wire of the arc volts is off: 0 V.
    VoltsOpen,
    /// The divider is another than the machine file says.
    VoltsRatio,
}

impl WireFault {
    /// All of them.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let mut all = vec![
            Self::K1Welded,
            Self::K2Welded,
            Self::K3Stuck,
            Self::StartOpen,
            Self::VoltsInverted,
            Self::VoltsOpen,
            Self::VoltsRatio,
        ];
        for (i, a) in Input::ALL.into_iter().enumerate() {
            all.extend([
                Self::Open(a),
                Self::Closed(a),
                Self::Inverted(a),
                Self::Bouncing(a),
            ]);
            all.extend(
                Input::ALL
                    .into_iter()
                    .skip(i + 1)
                    .map(|b| Self::Crossed(a, b)),
            );
        }
        all
    }

    /// Its name on the command line.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Open(i) => format!("{}:open", i.name()),
            Self::Closed(i) => format!("{}:closed", i.name()),
            Self::Inverted(i) => format!("{}:inverted", i.name()),
            Self::Bouncing(i) => format!("{}:bouncing", i.name()),
            Self::Crossed(a, b) => format!("{}:{}", a.name(), b.name()),
            Self::K1Welded => "k1-welded".into(),
            Self::K2Welded => "k2-welded".into(),
            Self::K3Stuck => "k3-stuck".into(),
            Self::StartOpen => "start-open".into(),
            Self::VoltsInverted => "volts-inverted".into(),
            Self::VoltsOpen => "volts-open".into(),
            Self::VoltsRatio => "volts-ratio".into(),
        }
    }

    /// The fault of this name; two inputs that are crossed may be named either way round.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        let turned = name.split_once(':').map(|(a, b)| format!("{b}:{a}"));
        let mut all = Self::all().into_iter();
        all.find(|f| {
            let own = f.name();
            own == name || (matches!(f, Self::Crossed(..)) && Some(own) == turned)
        })
    }
}

/// What a calm table's air is fed by; the receiver is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SupplyState {
    /// The compressor runs still.
    Running,
    /// It rests until its start pressure.
    Resting,
    /// It is left off.
    Off,
}

/// What the supplies of a calm table came to.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Supplied {
    /// The lowest in the receiver with the torch blowing, bar, and when, s of table time.
    pub lowest_bar: f64,
    /// See `lowest_bar`.
    pub lowest_at_s: f64,
    /// So often the air switch opened, and when first, s of table time.
    pub low: u32,
    /// See `low`.
    pub first_low_s: Option<f64>,
    /// The most arc time in any ten minutes, s.
    pub most_arc_s: f64,
    /// How worn the torch parts are that were new, 1: worn out.
    pub wear: f64,
    /// When arcs began and ended, s of table time.
    pub arcs: Vec<[f64; 2]>,
}

/// The ledger's own account of arc on metal, compared with the plan.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Table time, s.
    pub now_s: f64,
    /// Length of all paths of the plan that was laid, mm; 0 without one.
    pub plan_mm: f64,
    /// Middle of the planned kerfs on which there is still metal, mm.
    pub uncut_mm: f64,
    /// Path that the arc has passed more than once, mm.
    pub recut_mm: f64,
    /// Greatest distance of the burning arc from the path in hand, mm, where it went no further
    /// from it than a kerf.
    pub off_path_mm: f64,
    /// Way of the burning arc further from the path than that, or on its way in from there, mm: the
    /// lead-in of a cut that is taken up again, or an arc that went astray.
    #[serde(default)]
    pub entry_mm: f64,
    /// Arc time, s.
    pub arc_on_s: f64,
    /// Fires that pierced.
    pub pierces: u32,
    /// Physical wrongs, in the order they were seen.
    pub violations: Vec<String>,
    /// Mean bevel of what was cut, mm, and mean dross, 0 (none) to 4 (not cut through); 0 where nothing
    /// was.
    #[serde(default)]
    pub bevel_mm: f64,
    /// See `bevel_mm`.
    #[serde(default)]
    pub dross: f64,
    /// What has happened by chance, by name and how often (the rough mood alone).
    #[serde(default)]
    pub mishaps: BTreeMap<String, u32>,
    /// Where the torch stands over the sheet as the plan draws it, from the sheet's lower left corner,
    /// mm: what a person sees who looks along it.
    #[serde(default)]
    pub torch_on_sheet: Point,
    /// What the optional outputs did.
    #[serde(default)]
    pub outputs: OutputLog,
}

impl Levels {
    /// Whether every contact is as in `other`, whatever the volts are.
    #[must_use]
    pub fn same_contacts(&self, other: &Self) -> bool {
        Self {
            volts: 0.0,
            ..*self
        } == Self {
            volts: 0.0,
            ..*other
        }
    }
}
