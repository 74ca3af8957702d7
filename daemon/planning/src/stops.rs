//! Stops between two cuts that are planned before the run.

use serde::{Deserialize, Serialize};

/// A planned stop between two cuts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlannedStop {
    /// What it is for.
    pub cause: StopFor,
    /// Before which cut, from 1.
    pub before_cut: usize,
    /// How long at least, s; 0 for a change.
    pub wait_s: f64,
}

/// What the operator says to the pauses that a plan proposes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pauses {
    /// They are made: sealed with the job.
    Accepted,
    /// They are not made.
    Declined,
}

/// What a planned stop is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopFor {
    /// The compressor is to catch up.
    AirWait,
    /// The power source is to cool.
    DutyWait,
    /// The fitted set of torch parts reaches its change point.
    ChangeDue,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stops_are_written_by_the_names_of_their_causes() {
        // Old recordings hold jobs with these names.
        let names = [StopFor::AirWait, StopFor::DutyWait, StopFor::ChangeDue]
            .map(|stop| serde_json::to_string(&stop).expect("it is JSON"));
        assert_eq!(names, ["\"air-wait\"", "\"duty-wait\"", "\"change-due\""]);
    }
}
