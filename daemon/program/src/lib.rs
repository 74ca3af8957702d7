//! A cutting program's text, what it means, and whether it may be cut.
//!
//! Pure: bytes come in; blocks, a cut list and a vet report go out. Knows no machine state.
//!
//! [`read`] turns text into a [`CutList`] and tells what it could not read; [`vet`] judges the cut
//! list against what lies on the table; [`seal`] binds what was judged. Nothing here fails on bad
//! text: what is wrong is a [`Finding`], and reading goes on behind it.

mod causes;
mod compensation;
mod contour;
mod cutlist;
mod derived;
mod edges;
pub mod explain;
mod facts;
mod feeds;
mod findings;
mod flat;
mod join;
mod kerfs;
mod lead;
mod near;
pub mod picture;
mod pieces;
mod reader;
mod report;
pub mod resume;
mod rules;
mod said;
pub mod sarif;
mod seal;
mod setup;
mod shape;
pub mod text;
mod tree;
mod vet;
mod work;

#[cfg(test)]
extern crate self as program;
#[cfg(test)]
mod growth;

pub use compensation::{CarriedOut, Compensation, Side, compensated};
pub use cutlist::{Cut, CutList, Element, Stop, Traverse};
pub use facts::{
    Air, Chart, Energy, Facts, Forecast, Hot, Joined, Link, Moment, Motion, Row, Slats, Source,
    Times, Wait, Wear,
};
pub use findings::LISTED_PER_RULE;
pub use join::{JOIN_MM, join};
pub use pieces::{FreedNear, Piece, PieceMap, Under};
pub use reader::{COMMENTS_KEPT, Comment, Reading, ReadingRules, TOOLS_KEPT, Tool, Unit, read};
pub use report::{Acceptance, Finding, Report, Severity, Verdict, Want};
pub use rules::file_too_large::LARGEST_BYTES;
pub use rules::page::Page;
pub use rules::{ALL as RULES, Group, Rule};
pub use seal::{NoSeal, Seal, hash, seal};
pub use setup::{Keepout, Setup, SetupError};
pub use vet::{
    Found, Half, Judging, Loose, Unwatched, VetInput, Vetting, Watch, piece_map, vet, vet_in_full,
};
