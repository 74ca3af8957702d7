//! How well the places of torch and sheet are known.

use units::Placement;

use super::datum::Checking;

/// What is known of the table's coordinates.
#[derive(Clone, Debug)]
pub(crate) struct Reference {
    /// The place cannot be trusted.
    pub doubtful: bool,
    /// Referenced since the place was last doubted.
    pub homed: bool,
    /// How the sheet lies in machine coordinates: as set, or as a datum check has found it.
    pub sheet_at: Placement,
    /// A datum check that is under way.
    pub checking: Option<Checking>,
}

impl Reference {
    /// It is known where the torch stands: never doubted, or referenced since.
    pub(crate) fn torch_known(&self) -> bool {
        !self.doubtful || self.homed
    }
}
