//! A recorded run on the glass: when it may be shown.

use control::AlarmLevel::{Danger, Notice};
use control::View;
use control::view::{ArcView, Phase};

use super::*;

#[tokio::test]
async fn a_recorded_run_is_shown_only_while_nothing_moves_burns_or_is_to_be_read() {
    let rig = rig(false).await;
    let idle = View {
        phase: Phase::Finished,
        hold: None,
        change: None,
        commissioning: None,
        alarms: Vec::new(),
        torch: control::view::TorchView {
            moving: false,
            arc: ArcView::Off,
            ..fixtures::view().torch
        },
        ..fixtures::view()
    };
    let status = async |view: View| {
        let published = Published {
            seq: 1,
            at: Time::ZERO,
            view,
        };
        rig.published.send_replace(Arc::new(published));
        let reply = rig
            .send("GET", "/api/replay/at?start=1&us=0", &[], "")
            .await;
        (reply.status, reply.json()["field"].clone())
    };
    // Nothing is in the way, and there is no recording.
    assert_eq!(status(idle.clone()).await, (422, json!("us")));
    let barred = (409, json!("replay"));
    for phase in [
        Phase::Starting,
        Phase::NoLink,
        Phase::Homing,
        Phase::Hand,
        Phase::Running,
        Phase::Stopping,
        Phase::Held,
        Phase::Changing,
        Phase::Latched,
    ] {
        let view = View {
            phase,
            ..idle.clone()
        };
        assert_eq!(status(view).await, barred, "{phase:?}");
    }
    let mut moving = idle.clone();
    moving.torch.moving = true;
    assert_eq!(status(moving).await, barred);
    let mut burning = idle.clone();
    burning.torch.arc = ArcView::On;
    assert_eq!(status(burning).await, barred);
    let alarm = |seen, level| View {
        alarms: vec![control::view::Alarm {
            seen,
            level,
            ..fixtures::view().alarms[0].clone()
        }],
        ..idle.clone()
    };
    assert_eq!(status(alarm(false, Notice)).await, barred);
    assert_eq!(status(alarm(true, Danger)).await, barred);
    assert_eq!(status(alarm(true, Notice)).await.0, 422, "it was read");
}
