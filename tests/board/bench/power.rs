//! The power of the whole machine is cut with the arc on; on the same disk it starts again.

use std::path::Path;
use std::time::Duration;

use control::view::{CutState, View};
use rustix::process::Signal;

use crate::judge::*;
use crate::panel::Panel;
use crate::set_up::TAPE;
use crate::world::say;

/// The cuts of the job as the table's ledger counts them, from 0.
const FIRST: usize = 0;
const OUTLINE: usize = 1;

/// Cuts up to the outline and asks for the cut of the power: whoever runs this machine ends it then, at once.
pub fn cut(panel: &mut Panel) -> Result<(), String> {
    panel.load(true)?;
    panel.operate("the outline", RUN_S, in_the_outline)?;
    let world = panel.world.lock();
    // The table and the panel stand from here on, so that neither sees how the other is written down.
    panel.signal_now(Signal::STOP)?;
    world.save_tape(Path::new(TAPE))?;
    say("CUT THE POWER");
    std::thread::park_timeout(Duration::from_secs(60));
    Err("the power was not cut".into())
}

/// Started again: the run is told as interrupted, what is told as cut is cut, the place is in doubt, nothing
/// begins by itself, and the rest is cut after a check of the sheet.
pub fn started_again(panel: &mut Panel) -> Result<(), String> {
    let before = newest(panel)?;
    panel.start()?;
    let from = panel.now();
    panel.wait("the controller to be heard", 20, |p| {
        p.view().is_ok_and(|v| v.link.alive)
    })?;
    let until = from + Duration::from_secs(10);
    panel.wait("some seconds to pass", 12, |p| p.now() > until)?;
    must(panel.world.lock().arc_after(from).is_none(), || {
        "something fired by itself".into()
    })?;
    let view = panel.view()?;
    must(view.doubtful, || "the place is not in doubt".into())?;
    as_told(panel, &view, before)?;
    panel.load(false)?;
    let view = panel.operate("the job on the table again", 60, |v, _| !v.cuts.is_empty())?;
    let first = view.cuts.first();
    let told_cut = first.map(|c| c.done.clone()).unwrap_or_default();
    let uncut: f64 = {
        let world = panel.world.lock();
        let left = told_cut
            .iter()
            .map(|[from, to]| world.table.uncut_mm(FIRST, *from, *to));
        left.sum()
    };
    must(
        first.is_some_and(|c| c.state == CutState::Done) && uncut < 0.05,
        || {
            format!(
                "the first cut is told as {first:?}, by the ledger {uncut:.2} mm of it are left"
            )
        },
    )?;
    to_the_end(panel)?;
    must(told(panel, before, "datum-fitted")? > 0, || {
        "it went on without a check of the sheet".into()
    })?;
    must(told(panel, before, "run-ended")? == 1, || {
        "no run-ended in the journal".into()
    })
}

/// What the journal tells of the interrupted run, against the table's ledger.
fn as_told(panel: &Panel, view: &View, before: i64) -> Result<(), String> {
    let all = panel.journal()?;
    let Some(entry) = all
        .iter()
        .find(|e| e.seq > before && e.name == "run-interrupted")
    else {
        return Err(format!(
            "the journal does not know of the interrupted run: {:?}",
            view.phase
        ));
    };
    let fields = &entry.fields;
    let (Some(cut), Some(sure)) = (fields["cut"].as_u64(), fields["sure_mm"].as_f64()) else {
        return Err(format!("cut and place are not told: {fields}"));
    };
    let world = panel.world.lock();
    let uncut = world.table.uncut_mm(OUTLINE, 0.0, sure);
    say(&format!(
        "  told as cut up to {sure:.1} mm of cut {cut}; by the ledger {uncut:.2} mm of that are not; \
         {:.1} mm in all are left",
        world.table.truth().uncut_mm
    ));
    must(cut == 2 && fields["cut_off"] == true, || {
        format!("not told as cut off in the second cut: {fields}")
    })?;
    must(uncut < 0.05, || {
        format!("told as cut and is not: {uncut:.2} mm")
    })
}
