//! Settings of the cut's cycle and of the axes. Every default is a starting value of the machine
//! file (common practice, numbers invented).

use serde::{Deserialize, Serialize};

/// Settings of the cut's cycle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CycleSettings {
    /// Traverse height above the sheet's plane, mm (10 to 60).
    pub safe_height_mm: f64,
    /// First part of a touch-off, mm/s.
    pub probe_fast_mm_s: f64,
    /// Last part of a touch-off, mm/s.
    pub probe_slow_mm_s: f64,
    /// Fast until this far above the expected sheet, mm.
    pub probe_switch_mm: f64,
    /// No metal if not met this far below the expected sheet, mm.
    pub probe_limit_mm: f64,
    /// The same at the sheet's first touch, mm.
    pub probe_limit_first_mm: f64,
    /// A contact this far above the expected sheet is a tipped piece or a warp, mm.
    pub probe_high_mm: f64,
    /// Back off between the two touches, mm.
    pub back_off_mm: f64,
    /// The two touches agree within this, mm.
    pub touch_agree_mm: f64,
    /// The contact plane lies this far above the surface, mm (-0.3 to 0.5).
    pub ohmic_offset_mm: f64,
    /// The floating head gives way by this much before its switch closes, mm (0.2 to 4).
    pub float_offset_mm: f64,
    /// After a touch, for thin sheet to come to rest, ms.
    pub touch_settle_ms: u64,
    /// After the sensing circuit was switched, ms (10 to 100).
    pub sense_settle_ms: u64,
    /// From pierce height to cut height, mm/s.
    pub drop_mm_s: f64,
    /// Time between two tries to fire, s.
    pub refire_gap_s: f64,
    /// Tries to fire per pierce (1 to 3).
    pub fire_tries: u32,
    /// After arc OK opens, before the torch lifts, ms.
    pub lift_wait_ms: u64,
    /// Arc OK held this long counts as transferred, ms.
    pub arc_ok_accept_ms: u64,
    /// By so much one step back moves the place where a cut is taken up, mm.
    pub resume_back_mm: f64,
    /// The start contact's mirror must follow torch-on within this, ms.
    pub fire_seen_ms: u64,
    /// The source blows so long after the arc, s: what the machine file says of its air.
    pub post_flow_s: f64,
    /// A pierce so near to the last touch may go without a touch-off, mm (0 to 200). 0, as long as
    /// nobody has said that the sheets lie flat: never. The handbook says 40, on sheets up to 2 mm
    /// no more than 20, and 0 where a sheet is bowed by more than 0.5 mm.
    pub skip_touch_mm: f64,
    /// So many in a row (0 to 10).
    pub skip_touch_run: u32,
    /// The last touch must be younger than this, s (0 to 600).
    pub skip_touch_age_s: f64,
}

/// Up to this thickness the jet of the post-flow presses the sheet down, mm (process handbook, from
/// memory there).
const PRESSED_UP_TO_MM: f64 = 2.0;
/// A touch-off waits no longer than this for the post-flow to end, s (process handbook, invented).
const POST_FLOW_WAITED_S: f64 = 3.0;

impl CycleSettings {
    /// How long a touch-off of a sheet so thick waits for the post-flow, s, if it blows so much longer.
    #[must_use]
    pub fn post_flow_wait_s(&self, thickness_mm: f64, blows_s: f64) -> f64 {
        if thickness_mm <= PRESSED_UP_TO_MM + 1e-9 {
            blows_s.clamp(0.0, POST_FLOW_WAITED_S)
        } else {
            0.0
        }
    }
}

impl Default for CycleSettings {
    fn default() -> Self {
        Self {
            safe_height_mm: 25.0,
            probe_fast_mm_s: 25.0,
            probe_slow_mm_s: 5.0,
            probe_switch_mm: 6.0,
            probe_limit_mm: 8.0,
            probe_limit_first_mm: 15.0,
            probe_high_mm: 6.0,
            back_off_mm: 1.5,
            touch_agree_mm: 0.10,
            ohmic_offset_mm: 0.05,
            float_offset_mm: 1.2,
            touch_settle_ms: 60,
            sense_settle_ms: 20,
            drop_mm_s: 50.0,
            refire_gap_s: 0.3,
            fire_tries: 2,
            lift_wait_ms: 50,
            arc_ok_accept_ms: 10,
            resume_back_mm: 5.0,
            fire_seen_ms: 500,
            post_flow_s: 8.0,
            skip_touch_mm: 0.0,
            skip_touch_run: 3,
            skip_touch_age_s: 60.0,
        }
    }
}

/// What the axes can do.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct MotionLimits {
    /// Acceleration in the plane, mm/s2.
    pub accel_mm_s2: f64,
    /// Rapid speed in the plane, mm/s.
    pub rapid_mm_s: f64,
    /// Acceleration along Z, mm/s2.
    pub z_accel_mm_s2: f64,
    /// Rapid speed along Z, mm/s.
    pub z_rapid_mm_s: f64,
    /// Step of velocity that the controller takes in a corner, mm/s.
    pub corner_step_mm_s: f64,
    /// The highest feed with the arc on, mm/s.
    pub feed_max_mm_s: f64,
}

impl Default for MotionLimits {
    fn default() -> Self {
        Self {
            accel_mm_s2: 400.0,
            rapid_mm_s: 200.0,
            z_accel_mm_s2: 500.0,
            z_rapid_mm_s: 50.0,
            corner_step_mm_s: 8.0,
            feed_max_mm_s: 200.0,
        }
    }
}
