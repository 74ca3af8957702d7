//! Firing waits for its start record, however late the disk is.

use core::time::Duration;

use super::rig::Rig;
use crate::ask::Ask;
use crate::cause::Cause;

/// Runs for so long; each fire must find the record of its own start on the disk.
fn watch_fires(rig: &mut Rig, s: f64) {
    let end = rig.now + Duration::from_secs_f64(s);
    let mut fires = rig.table.fires;
    while rig.now < end {
        rig.tick();
        if rig.table.fires > fires {
            fires = rig.table.fires;
            let start = rig.starts.last().expect("a start was recorded");
            assert!(
                rig.kept.contains(start),
                "fired {fires} before its start was on the disk"
            );
        }
    }
}

#[test]
fn however_late_the_start_record_is_on_the_disk_nothing_fires_before_it() {
    for late_ms in [0, 200, 900, 1800, 2600, 3400] {
        let mut rig = Rig::new();
        rig.make_ready();
        rig.disk_late = Some(Duration::from_millis(late_ms));
        rig.must(Ask::Start);
        watch_fires(&mut rig, 40.0);
        assert_eq!(rig.table.fires, 2, "{late_ms} ms");
    }
}

#[test]
fn a_start_record_that_is_never_on_the_disk_is_held_and_nothing_fires() {
    let mut rig = Rig::new();
    rig.make_ready();
    rig.disk_late = Some(Duration::from_secs(100_000));
    rig.must(Ask::Start);
    watch_fires(&mut rig, 40.0);
    let hold = rig.view().hold.expect("held");
    assert_eq!(hold.cause, Cause::RecordFailed);
    assert_eq!(rig.table.fires, 0);
    // The disk is there again: it goes on, and no fire is ahead of its record.
    rig.disk_late = None;
    rig.must(Ask::Seen {
        cause: Cause::RecordFailed,
    });
    rig.wait(0.3);
    rig.resume_as_offered();
    watch_fires(&mut rig, 40.0);
    rig.all_is_well();
}
