//! What is seen late, or only by its edge.

use super::*;

#[test]
fn a_chain_seat_or_gate_that_opened_for_a_moment_trips_as_an_open_one_does() {
    for (opened, cause) in [
        (
            Opened {
                estop: true,
                ..Opened::default()
            },
            Cause::Estop,
        ),
        (
            Opened {
                torch_seated: true,
                ..Opened::default()
            },
            Cause::TorchUnseated,
        ),
        (
            Opened {
                gate: true,
                ..Opened::default()
            },
            Cause::GateOpen,
        ),
    ] {
        let mut t = Told::cutting();
        t.s.torch_seated = Some(true);
        t.wait(1);
        t.opened = opened;
        t.wait(1);
        assert_eq!(t.trips().last(), Some(&(cause, 0)), "{cause}");
        assert!(!t.rules.pulsing(), "{cause}");
        t.wait(20);
        assert_eq!(t.rules.latches().collect::<Vec<_>>(), vec![cause]);
        // Asked to clear in the step that sees it open again, it stands.
        t.opened = opened;
        t.rules.order(t.now, &GuardOrder::Clear { cause });
        t.wait(1);
        assert!(t.rules.latches().any(|c| c == cause), "{cause}");
        t.rules.order(t.now, &GuardOrder::Clear { cause });
        t.wait(1);
        assert_eq!(t.rules.latches().count(), 0, "{cause}");
    }
}

#[test]
fn what_is_not_fitted_cannot_open() {
    let mut t = Told::cutting();
    t.s.torch_seated = None;
    t.s.gate_closed = None;
    t.wait(1);
    t.opened = Opened {
        torch_seated: true,
        gate: true,
        ..Opened::default()
    };
    t.wait(1);
    assert_eq!(t.trips(), vec![]);
}
