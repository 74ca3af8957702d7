//! A journal that is gone while an earlier life shows.

use std::fs;
use std::path::Path;

use serde_json::Value;

use super::{Console, PATIENCE, alarmed, client};

fn lived(state: &Path) {
    let mut console = Console::start(state, &[]);
    console.hold(1);
    assert!(console.terminate().success());
}

/// The operator has read it, and clears it.
fn clear(console: &Console) {
    for ask in ["seen", "clear"] {
        let view = console.view();
        let body = serde_json::json!({
            "generation": view["generation"],
            "ask": {"kind": ask, "cause": "record-lost"},
        });
        let answer = client::post(console.address, "/api/ask", &body.to_string(), PATIENCE);
        println!("{ask}: {:?}", answer.expect("answered").body);
    }
}

/// The machine has begun, and has told what it found.
fn up(view: &Value) -> bool {
    !["starting", "no-link"].contains(&view["phase"].as_str().unwrap_or("starting"))
}

#[test]
fn a_journal_that_is_gone_beside_signs_of_an_earlier_life_is_told_and_latched_until_read() {
    for empty in [false, true] {
        let folder = tempfile::tempdir().expect("a folder");
        let state = folder.path().join("state");
        lived(&state);
        for file in ["journal.db", "journal.db-wal", "journal.db-shm"] {
            let _ = fs::remove_file(state.join(file));
        }
        if empty {
            fs::write(state.join("journal.db"), "").expect("written");
        }
        // New rows do not clear it, nor does another start.
        for _ in 0..2 {
            let mut console = Console::start(&state, &[]);
            let view = console.until("told", |v| alarmed(v, "record-lost"));
            assert_eq!(view["doubtful"], true, "{view:#}");
            console.hold(2);
            assert!(console.terminate().success());
        }
        let mut console = Console::start(&state, &[]);
        console.until("told", |v| alarmed(v, "record-lost"));
        console.until("cleared", |v| {
            if alarmed(v, "record-lost") {
                clear(&console);
            }
            !alarmed(v, "record-lost")
        });
        assert!(console.terminate().success());
        let console = Console::start(&state, &[]);
        let view = console.until("up", up);
        assert!(!alarmed(&view, "record-lost"), "{view:#}");
    }
}

#[test]
fn a_first_start_is_no_loss() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    // Programs of one's own may lie there before the first start.
    super::vets::long_program(&state, "long");
    let console = Console::start(&state, &[]);
    let view = console.until("up", up);
    assert!(!alarmed(&view, "record-lost"), "{view:#}");
}
