//! The path that a stop came on, kept until the place is found.

use units::Time;

use super::track::Track;
use crate::resume::Lost;

/// A path that was stopped on.
#[derive(Clone, Debug)]
pub(crate) struct OnPath {
    pub track: Track,
    /// The path's arc came on after this.
    pub since: Time,
    /// What was known of the cut before this path.
    pub before: Option<Lost>,
    /// No report is taken any more: the place was lost.
    pub blind: bool,
    /// The inputs were not seen from then on until the arc's end was, if ever.
    pub unseen_from: Option<Time>,
    /// The arc was not seen out yet when it was stopped: the place found then is a first one.
    pub lit: bool,
}
