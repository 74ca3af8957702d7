//! Which values are possible: the table of ranges, and how keys relate.
//!
//! Ranges marked in the handbook's list of settings are its own (kind: common practice, no source;
//! values invented). The others are ours and only keep nonsense out; each says so by its comment.

use super::low::File;

/// What is wrong with one key.
#[derive(Debug, PartialEq, Eq)]
pub struct Wrong {
    /// Path of the key, such as `guard.lease_ms`.
    pub key: &'static str,
    /// What is wrong with its value.
    pub says: String,
    /// What to do.
    pub remedy: String,
}

type Row = (&'static str, f64, f64, f64, &'static str);

/// The first value outside its range, or the first two that contradict each other.
///
/// # Errors
/// Key, value and limit.
pub fn check(f: &File) -> Result<(), Wrong> {
    let optional = arc_signal(f)
        .into_iter()
        .chain(lateness(f))
        .chain(skipping(f))
        // Ours: off with the arc, up to an hour.
        .chain([("extraction.after_s", f.extraction.after_s, 0.0, 3600.0, "s")]);
    for (key, value, low, high, unit) in rows(f).into_iter().chain(optional) {
        // Written so that a value that is no number is refused as well.
        if !(value >= low && value <= high) {
            return Err(Wrong {
                key,
                says: format!("is {value} {unit}, outside {low} to {high} {unit}")
                    .replace(" ,", ","),
                remedy: format!("Give a value from {low} to {high}"),
            });
        }
    }
    relations(f)
}

/// Ours: contacts and opto-couplers of a power source (process handbook 3.1: 5 to 50 ms).
/// How late the guard may be, and how old what it has seen.
fn lateness(f: &File) -> [Row; 3] {
    let g = &f.guard;
    [
        (
            "guard.inputs_stale_ms",
            g.inputs_stale_ms as f64,
            50.0,
            500.0,
            "ms",
        ),
        // Ours: no longer than the relay may take to drop, no shorter than two pulses at 100 Hz.
        (
            "guard.relay_holds_ms",
            g.relay_holds_ms as f64,
            20.0,
            100.0,
            "ms",
        ),
        // Ours: three of them are still seen before the arc's own limits.
        (
            "guard.volts_every_ms",
            g.volts_every_ms as f64,
            1.0,
            200.0,
            "ms",
        ),
    ]
}

fn arc_signal(f: &File) -> [Row; 3] {
    let a = &f.arc_signal;
    [
        ("arc_signal.delay_ms", a.delay_ms, 0.0, 200.0, "ms"),
        ("arc_signal.spread_ms", a.spread_ms, 0.0, 200.0, "ms"),
        ("arc_signal.reports_ms", a.reports_ms, 0.0, 500.0, "ms"),
    ]
}

/// When a touch-off may be skipped (process handbook 2.2).
fn skipping(f: &File) -> [Row; 3] {
    let c = &f.cycle;
    [
        ("cycle.skip_touch_mm", c.skip_touch_mm, 0.0, 200.0, "mm"),
        (
            "cycle.skip_touch_run",
            f64::from(c.skip_touch_run),
            0.0,
            10.0,
            "",
        ),
        (
            "cycle.skip_touch_age_s",
            c.skip_touch_age_s,
            0.0,
            600.0,
            "s",
        ),
    ]
}

fn rows(f: &File) -> Vec<Row> {
    let (t, m, g, c) = (&f.table, &f.motion, &f.guard, &f.cycle);
    let mut rows: Vec<Row> = vec![
        // Ours: from a desk-top table to one for whole sheets.
        ("table.travel", t.travel[0], 50.0, 20_000.0, "mm along X"),
        ("table.travel", t.travel[1], 50.0, 20_000.0, "mm along Y"),
        ("table.travel", t.travel[2], 20.0, 500.0, "mm along Z"),
        (
            "table.sheet_corner",
            t.sheet_corner[0],
            0.0,
            t.travel[0],
            "mm along X",
        ),
        (
            "table.sheet_corner",
            t.sheet_corner[1],
            0.0,
            t.travel[1],
            "mm along Y",
        ),
        ("table.slat_top_z", t.slat_top_z, 0.0, t.travel[2], "mm"),
        ("table.park", t.park[0], 0.0, t.travel[0], "mm along X"),
        ("table.park", t.park[1], 0.0, t.travel[1], "mm along Y"),
        ("table.slat_pitch_mm", t.slat_pitch_mm, 10.0, 500.0, "mm"),
        ("table.slat_depth_mm", t.slat_depth_mm, 5.0, 500.0, "mm"),
        // Ours: what a home-built gantry may do.
        ("motion.accel_mm_s2", m.accel_mm_s2, 10.0, 20_000.0, "mm/s2"),
        ("motion.rapid_mm_s", m.rapid_mm_s, 1.0, 2_000.0, "mm/s"),
        (
            "motion.z_accel_mm_s2",
            m.z_accel_mm_s2,
            10.0,
            20_000.0,
            "mm/s2",
        ),
        ("motion.z_rapid_mm_s", m.z_rapid_mm_s, 1.0, 500.0, "mm/s"),
        (
            "motion.corner_step_mm_s",
            m.corner_step_mm_s,
            0.0,
            200.0,
            "mm/s",
        ),
        (
            "motion.feed_max_mm_s",
            m.feed_max_mm_s,
            1.0,
            2_000.0,
            "mm/s",
        ),
        // Ours: slower than 1200 no motion controller is fed.
        (
            "link.baud",
            f64::from(f.link.baud),
            1_200.0,
            4_000_000.0,
            "baud",
        ),
        (
            "link.silence_ms",
            f.link.silence_ms as f64,
            50.0,
            5_000.0,
            "ms",
        ),
        // Ours: a missing-pulse relay is made for this region.
        ("guard.permit_hz", g.permit_hz, 20.0, 500.0, "Hz"),
        ("guard.lease_ms", g.lease_ms as f64, 100.0, 400.0, "ms"),
        ("guard.arc_ok_within_s", g.arc_ok_within_s, 0.5, 4.0, "s"),
        ("guard.arc_lost_ms", g.arc_lost_ms as f64, 10.0, 100.0, "ms"),
        (
            "guard.arc_lost_crossing_ms",
            g.arc_lost_crossing_ms as f64,
            40.0,
            150.0,
            "ms",
        ),
        ("guard.arc_out_within_s", g.arc_out_within_s, 0.2, 2.0, "s"),
        // 100 ms is the limit of the permit relay.
        (
            "guard.relay_drop_ms",
            g.relay_drop_ms as f64,
            5.0,
            100.0,
            "ms",
        ),
        ("cycle.safe_height_mm", c.safe_height_mm, 10.0, 60.0, "mm"),
        (
            "cycle.fire_tries",
            f64::from(c.fire_tries),
            1.0,
            3.0,
            "tries",
        ),
        ("cycle.ohmic_offset_mm", c.ohmic_offset_mm, -0.3, 0.5, "mm"),
        ("cycle.float_offset_mm", c.float_offset_mm, 0.2, 4.0, "mm"),
        (
            "cycle.sense_settle_ms",
            c.sense_settle_ms as f64,
            10.0,
            100.0,
            "ms",
        ),
        (
            "cycle.arc_ok_accept_ms",
            c.arc_ok_accept_ms as f64,
            2.0,
            50.0,
            "ms",
        ),
        // Ours.
        (
            "cycle.probe_fast_mm_s",
            c.probe_fast_mm_s,
            0.5,
            200.0,
            "mm/s",
        ),
        (
            "cycle.probe_slow_mm_s",
            c.probe_slow_mm_s,
            0.1,
            50.0,
            "mm/s",
        ),
        ("cycle.probe_switch_mm", c.probe_switch_mm, 0.0, 50.0, "mm"),
        ("cycle.probe_limit_mm", c.probe_limit_mm, 0.5, 50.0, "mm"),
        (
            "cycle.probe_limit_first_mm",
            c.probe_limit_first_mm,
            0.5,
            50.0,
            "mm",
        ),
        ("cycle.probe_high_mm", c.probe_high_mm, 0.5, 50.0, "mm"),
        ("cycle.back_off_mm", c.back_off_mm, 0.1, 20.0, "mm"),
        ("cycle.touch_agree_mm", c.touch_agree_mm, 0.01, 1.0, "mm"),
        (
            "cycle.touch_settle_ms",
            c.touch_settle_ms as f64,
            0.0,
            1_000.0,
            "ms",
        ),
        ("cycle.drop_mm_s", c.drop_mm_s, 1.0, 500.0, "mm/s"),
        ("cycle.refire_gap_s", c.refire_gap_s, 0.0, 10.0, "s"),
        (
            "cycle.lift_wait_ms",
            c.lift_wait_ms as f64,
            0.0,
            1_000.0,
            "ms",
        ),
        ("cycle.resume_back_mm", c.resume_back_mm, 0.1, 100.0, "mm"),
        (
            "cycle.fire_seen_ms",
            c.fire_seen_ms as f64,
            20.0,
            5_000.0,
            "ms",
        ),
        // Ours: from the smallest hand torch to a machine torch.
        ("source.rated_amps", f.source.rated_amps, 5.0, 400.0, "A"),
        (
            "source.rated_duty",
            f.source.rated_duty,
            0.05,
            1.0,
            "of ten minutes",
        ),
        ("source.divider", f.source.divider, 1.0, 1_000.0, "to 1"),
        ("air.receiver_l", f.air.receiver_l, 0.0, 10_000.0, "L"),
        (
            "air.compressor_l_min",
            f.air.compressor_l_min,
            0.0,
            10_000.0,
            "L/min",
        ),
        ("air.torch_l_min", f.air.torch_l_min, 1.0, 2_000.0, "L/min"),
        ("air.start_bar", f.air.start_bar, 1.0, 20.0, "bar"),
        ("air.stop_bar", f.air.stop_bar, 1.0, 20.0, "bar"),
        ("air.low_bar", f.air.low_bar, 1.0, 20.0, "bar"),
        ("air.hose_bar", f.air.hose_bar, 0.0, 5.0, "bar"),
        ("air.post_flow_s", f.air.post_flow_s, 0.0, 60.0, "s"),
        ("air.regulator_bar", f.air.regulator_bar, 0.0, 20.0, "bar"),
    ];
    supplies(f, &mut rows);
    let amps = f.source.settings_amps.iter();
    rows.extend(amps.map(|a| ("source.settings_amps", *a, 1.0, f.source.rated_amps, "A")));
    rows
}

/// Times of the source, and what may be left out.
fn supplies(f: &File, rows: &mut Vec<Row>) {
    let times = &f.source.times;
    let spans = [
        ("source.times.permit_s", times.permit_s),
        ("source.times.pre_flow_s", times.pre_flow_s),
        ("source.times.transfer_s", times.transfer_s),
        ("source.times.arc_ok_lag_s", times.arc_ok_lag_s),
        ("source.times.arc_off_lag_s", times.arc_off_lag_s),
        ("source.times.answer_s", times.answer_s),
        ("source.times.report_s", times.report_s),
    ];
    rows.extend(spans.map(|(key, span)| (key, span, 0.0, 10.0, "s")));
    if let Some([x, y]) = f.table.change {
        rows.push(("table.change", x, 0.0, f.table.travel[0], "mm along X"));
        rows.push(("table.change", y, 0.0, f.table.travel[1], "mm along Y"));
    }
    if let Some(mm) = f.reached_tolerance_mm {
        rows.push(("reached_tolerance_mm", mm, 0.01, 10.0, "mm"));
    }
    if let Some(p) = &f.prices {
        rows.push(("prices.set", p.set, 0.0, 100_000.0, "a set"));
        rows.push(("prices.hour", p.hour, 0.0, 100_000.0, "an hour"));
    }
    if let Some(s) = &f.supplies {
        rows.extend([
            ("supplies.starts", s.starts, 0.0, 100_000.0, "starts"),
            ("supplies.minutes", s.minutes, 0.0, 100_000.0, "min"),
            ("supplies.losses", s.losses, 0.0, 10_000.0, "losses"),
            (
                "supplies.starts_life",
                s.starts_life,
                10.0,
                100_000.0,
                "starts",
            ),
            (
                "supplies.minutes_life",
                s.minutes_life,
                1.0,
                100_000.0,
                "min",
            ),
        ]);
    }
}

fn relations(f: &File) -> Result<(), Wrong> {
    let (t, g, c) = (&f.table, &f.guard, &f.cycle);
    let wrong = |key, says: String, remedy: &str| {
        Err(Wrong {
            key,
            says,
            remedy: remedy.to_owned(),
        })
    };
    if t.slat_top_z + c.safe_height_mm >= t.travel[2] {
        let says = format!(
            "leaves no room: {} mm above slats at {} mm is beyond the {} mm of Z travel",
            c.safe_height_mm, t.slat_top_z, t.travel[2]
        );
        return wrong(
            "cycle.safe_height_mm",
            says,
            "Lower safe_height_mm, or correct table.travel and table.slat_top_z",
        );
    }
    if c.probe_slow_mm_s > c.probe_fast_mm_s {
        let says = format!(
            "is faster than probe_fast_mm_s ({} mm/s)",
            c.probe_fast_mm_s
        );
        return wrong(
            "cycle.probe_slow_mm_s",
            says,
            "The last part of a touch-off is the slow one: swap the two",
        );
    }
    if c.post_flow_s != process::CycleSettings::default().post_flow_s {
        let says = "is the source's, and is told in [air]".to_owned();
        return wrong("cycle.post_flow_s", says, "Write air.post_flow_s");
    }
    if g.arc_lost_crossing_ms < g.arc_lost_ms {
        let says = format!("is shorter than arc_lost_ms ({} ms)", g.arc_lost_ms);
        return wrong(
            "guard.arc_lost_crossing_ms",
            says,
            "At a crossing the arc may be lost for longer, not shorter",
        );
    }
    // The relay must see at least two pulses within its drop-out time, or one late pulse drops it.
    let period_ms = 1000.0 / g.permit_hz;
    if 2.0 * period_ms > g.relay_drop_ms as f64 {
        let says = format!(
            "is too slow for a relay that drops out after {} ms: one late pulse would drop it",
            g.relay_drop_ms
        );
        return wrong(
            "guard.permit_hz",
            says,
            "Pulse faster, or measure the relay again",
        );
    }
    // An edge every half wave: a guard that is a little late is not away.
    if period_ms > g.relay_holds_ms as f64 {
        let says = format!(
            "is shorter than the time between two pulses ({period_ms:.0} ms at {} Hz)",
            g.permit_hz
        );
        return wrong(
            "guard.relay_holds_ms",
            says,
            "Pulse faster, or measure how long the relay surely holds",
        );
    }
    if g.relay_holds_ms > g.relay_drop_ms {
        let says = format!("is longer than relay_drop_ms ({} ms)", g.relay_drop_ms);
        return wrong(
            "guard.relay_holds_ms",
            says,
            "The relay surely holds for less long than it takes at most to drop: measure it again",
        );
    }
    let receiver_low = f.air.low_bar + f.air.hose_bar;
    if receiver_low >= f.air.start_bar {
        let says = format!(
            "and hose_bar make {receiver_low} bar in the receiver, not below start_bar ({} bar)",
            f.air.start_bar
        );
        return wrong(
            "air.low_bar",
            says,
            "The compressor must start before the air is low: correct low_bar, hose_bar or start_bar",
        );
    }
    if f.air.stop_bar <= f.air.start_bar {
        let says = format!("is not above start_bar ({} bar)", f.air.start_bar);
        return wrong(
            "air.stop_bar",
            says,
            "The compressor starts low and stops high",
        );
    }
    words(f)
}

fn words(f: &File) -> Result<(), Wrong> {
    /// M words with a fixed meaning in RS-274: program stop and end.
    const TAKEN: [u16; 4] = [0, 1, 2, 30];
    let lists = [
        ("words.torch_on", &f.words.torch_on),
        ("words.torch_off", &f.words.torch_off),
    ];
    for (key, list) in lists {
        if list.is_empty() {
            return Err(Wrong {
                key,
                says: "is empty: no program could be read".into(),
                remedy: "Name at least one M word, such as 3 for on or 5 for off".into(),
            });
        }
        if let Some(m) = list.iter().find(|m| TAKEN.contains(m) || **m > 999) {
            return Err(Wrong {
                key,
                says: format!("has M{m}, which cannot be a torch word"),
                remedy: "Take a word from 3 to 999 other than M30".into(),
            });
        }
    }
    if let Some(m) = f
        .words
        .torch_on
        .iter()
        .find(|m| f.words.torch_off.contains(m))
    {
        return Err(Wrong {
            key: "words.torch_off",
            says: format!("has M{m}, which turns the torch on as well"),
            remedy: "Give every M word one meaning".into(),
        });
    }
    Ok(())
}
