//! A cutting program's text, what it means, and whether it may be cut.
//!
//! Pure: bytes come in; blocks, a cut list and a vet report go out. Knows no machine state.
//!
//! [`read`] turns text into a [`CutList`] and tells what it could not read; [`vet`] judges the cut
//! list against what lies on the table; [`seal`] binds what was judged. Nothing here fails on bad
//! text: what is wrong is a [`Finding`], and reading goes on behind it.

mod contours;
mod cuts;
mod geometry;
mod passage;
mod reader;
mod report;
pub mod resume;
mod sheet;
mod vetting;
mod watch;
mod work;

#[cfg(test)]
extern crate self as program;
#[cfg(test)]
mod growth;

pub use cuts::compensation::compensated;
pub use cuts::cut_list::{CarriedOut, Compensation, Cut, CutList, Element, Side, Stop, Traverse};
pub use cuts::join::{JOIN_MM, join};
pub use passage::{Motion, Passage, passages};
pub use reader::reading::{COMMENTS_KEPT, Comment, Reading, TOOLS_KEPT, Tool, Unit};
pub use reader::{Lines, ReadingRules, Scanner, read, read_scanned};
pub use report::findings::LISTED_PER_RULE;
pub use report::seal::{NoSeal, Seal, hash, seal};
pub use report::{Acceptance, Finding, Report, Severity, Verdict, Want};
pub use report::{explain, picture, sarif, text};
pub use sheet::pieces::{FreedNear, Piece, PieceMap, Under};
pub use sheet::setup::{Keepout, Setup, SetupError};
pub use vetting::facts::{
    Air, Chart, Energy, Facts, Forecast, Hot, Joined, Link, Moment, Row, Slats, Source, Times,
    Wait, Wear,
};
pub use vetting::on_sheet::{Loose, VetInput};
pub use vetting::rules::page::Page;
pub use vetting::rules::reading::file_too_large::LARGEST_BYTES;
pub use vetting::rules::{ALL as RULES, Group, Rule};
pub use vetting::{Found, Judging, ToJudge, Vetting, piece_map, vet, vet_in_full};
pub use watch::{Unwatched, Watch};
