//! What each G word is, and which group it belongs to (NISTIR 6556, table 4).

use crate::cuts::cut_list::Side;

/// A G or M word: its number times ten and where it stands (bytes from the line's start).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Code {
    pub tenths: u32,
    pub offset: u32,
}

/// What G65 to G67 do.
pub(super) const CALLS_MACRO: &str = "calls a macro, and this panel runs none";

/// How the torch moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Motion {
    Rapid,
    Line,
    Clockwise,
    Anticlockwise,
}

/// A G word that is understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum GWord {
    Motion(Motion),
    TouchOff,
    NoMotion,
    Dwell,
    PlaneXy,
    Inch,
    Metric,
    GoHome,
    CompensationOff,
    CompensationOn(Side),
    MachinePlace,
    /// G54 is 0, G55 is 1, ... G59.3 is 8.
    Zero(u8),
    Smooth,
    Exact,
    Absolute,
    Relative,
    CentreAbsolute,
    CentreRelative,
    SetPlace,
    ClearPlace,
    SuspendPlace,
    RestorePlace,
    InverseTime,
    PerMinute,
    /// The length of a tool, which the panel's own touch-off makes up for.
    ToolLength,
    /// Writes the controller's own tables.
    OwnTables,
    /// Switches off what is never on here.
    Idle,
    /// Legal, or not known at all; and why it cannot be.
    Not(&'static str),
}

/// The group of a code as a bit; two codes of one group in a block are a clash.
pub(crate) fn g_word(tenths: u32) -> (GWord, u32) {
    use GWord as W;
    let motion = 1 << 1;
    let single = 1 << 0;
    match tenths {
        0 => (W::Motion(Motion::Rapid), motion),
        10 => (W::Motion(Motion::Line), motion),
        20 => (W::Motion(Motion::Clockwise), motion),
        30 => (W::Motion(Motion::Anticlockwise), motion),
        // Probing: of the published language, its variants, and the older word of other machines.
        310..=319 | 382..=389 => (W::TouchOff, motion),
        800 => (W::NoMotion, motion),
        40 => (W::Dwell, single),
        280 | 300 => (W::GoHome, single),
        530 => (W::MachinePlace, single),
        920 => (W::SetPlace, single),
        921 => (W::ClearPlace, single),
        922 => (W::SuspendPlace, single),
        923 => (W::RestorePlace, single),
        170 => (W::PlaneXy, 1 << 2),
        180 | 190 => (
            W::Not("works in another plane than that of the sheet"),
            1 << 2,
        ),
        900 => (W::Absolute, 1 << 3),
        910 => (W::Relative, 1 << 3),
        901 => (W::CentreAbsolute, 1 << 4),
        911 => (W::CentreRelative, 1 << 4),
        930 => (W::InverseTime, 1 << 5),
        940 => (W::PerMinute, 1 << 5),
        950 => (
            W::Not("asks for feed per revolution, and nothing revolves here"),
            1 << 5,
        ),
        200 | 700 => (W::Inch, 1 << 6),
        210 | 710 => (W::Metric, 1 << 6),
        400 => (W::CompensationOff, 1 << 7),
        410 => (W::CompensationOn(Side::Left), 1 << 7),
        420 => (W::CompensationOn(Side::Right), 1 << 7),
        490 => (W::Idle, 1 << 8),
        430..=439 => (W::ToolLength, 1 << 8),
        980 | 990 => (W::Idle, 1 << 10),
        540 => (W::Zero(0), 1 << 12),
        550 => (W::Zero(1), 1 << 12),
        560 => (W::Zero(2), 1 << 12),
        570 => (W::Zero(3), 1 << 12),
        580 => (W::Zero(4), 1 << 12),
        590 => (W::Zero(5), 1 << 12),
        591 => (W::Zero(6), 1 << 12),
        592 => (W::Zero(7), 1 << 12),
        593 => (W::Zero(8), 1 << 12),
        610 | 611 => (W::Exact, 1 << 13),
        640 => (W::Smooth, 1 << 13),
        810..=890 => (W::Not("is a canned cycle of drilling and boring"), motion),
        650..=679 => (W::Not(CALLS_MACRO), single),
        100 => (W::OwnTables, single),
        _ => (W::Not("is no code that this panel knows"), 0),
    }
}

/// A code as it is written: `G1`, `G91.1`.
pub(crate) fn name(letter: char, tenths: u32) -> String {
    if tenths.is_multiple_of(10) {
        format!("{letter}{}", tenths / 10)
    } else {
        format!("{letter}{}.{}", tenths / 10, tenths % 10)
    }
}
