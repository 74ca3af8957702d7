//! The simulated table is commissioned by the real binary in a terminal: typed lines in, words out.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::Stdio;
use std::sync::mpsc;
use std::time::Duration;

use crate::rig::{PATIENT, Ran, fixture, standclear};

/// Nothing is typed out for so long: it hangs, real time.
const HANGS: Duration = Duration::from_secs(60);

/// One session: `types` is shown each line and says what is typed then; `None`: the terminal is closed.
fn session(
    state: &Path,
    args: &[&str],
    mut types: impl FnMut(&str) -> Option<&'static str>,
) -> Ran {
    let mut child = standclear()
        .arg("practice")
        .arg(fixture("square.nc"))
        .arg("--setup")
        .arg(fixture("square.toml"))
        .args(["--speed", "200", "--state"])
        .arg(state)
        .args(PATIENT)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the binary starts");
    let (told, lines) = mpsc::channel();
    let out = BufReader::new(child.stdout.take().expect("a pipe"));
    let reader = std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            if told.send(line).is_err() {
                return;
            }
        }
    });
    let mut keys = child.stdin.take();
    let mut stdout = String::new();
    loop {
        let line = match lines.recv_timeout(HANGS) {
            Ok(line) => line,
            Err(mpsc::RecvTimeoutError::Disconnected) => break,
            Err(mpsc::RecvTimeoutError::Timeout) => {
                let _ = child.kill();
                panic!("it hangs after:\n{stdout}");
            }
        };
        stdout += &line;
        stdout.push('\n');
        match (types(&line), &mut keys) {
            (Some(""), _) | (_, None) => {}
            (Some(key), Some(to)) => {
                // A session that has ended reads no more.
                let _ = writeln!(to, "{key}").and_then(|()| to.flush());
            }
            (None, _) => keys = None,
        }
    }
    reader.join().expect("it has read all");
    let ended = child.wait_with_output().expect("it ends");
    Ran {
        code: ended.status.code(),
        stdout,
        stderr: String::from_utf8_lossy(&ended.stderr).into_owned(),
    }
}

/// Yes to every question, and hands that do whatever is asked for.
fn all_right(line: &str) -> Option<&'static str> {
    Some(match line {
        _ if line.ends_with("n]") => "y",
        _ if line.starts_with("  Wrong") => "",
        _ if line.starts_with("  Leave every input alone") => "",
        _ if line.starts_with("  ") => "t",
        _ => "",
    })
}

#[test]
fn each_step_at_rest_is_made_in_a_terminal_and_its_result_is_the_exit_status() {
    let state = tempfile::tempdir().expect("a folder");
    for (step, number) in [
        ("papers", 1),
        ("inputs", 2),
        ("3", 3),
        ("permit", 4),
        ("contact", 12),
    ] {
        let ran = session(state.path(), &["--terminal", step], all_right);
        let says = format!("Step {number} passed.");
        assert!(
            ran.stdout.contains(&says),
            "{step}: {}{}",
            ran.stdout,
            ran.stderr
        );
        assert_eq!(ran.code, Some(0), "{step}: {}{}", ran.stdout, ran.stderr);
    }
}

#[test]
fn a_wrong_wire_is_named_and_the_exit_status_tells() {
    let state = tempfile::tempdir().expect("a folder");
    let args = [
        "--terminal",
        "inputs",
        "--fault",
        "wire=torch_seated:air_ok",
    ];
    let ran = session(state.path(), &args, all_right);
    assert!(ran.stdout.contains("Wrong: "), "{}", ran.stdout);
    assert!(
        ran.stdout.contains("their wires are crossed"),
        "{}",
        ran.stdout
    );
    assert!(
        ran.stdout.contains("Step 2 did not pass."),
        "{}",
        ran.stdout
    );
    assert_eq!(ran.code, Some(1), "{}{}", ran.stdout, ran.stderr);
}

#[test]
fn a_no_is_on_record_and_a_step_that_is_left_is_not() {
    let state = tempfile::tempdir().expect("a folder");
    let left = session(state.path(), &["--terminal", "papers"], |line| {
        Some(if line.ends_with("[y/n]") { "q" } else { "" })
    });
    assert_eq!(left.code, Some(1));
    assert!(
        left.stdout.contains("Step 1 did not pass. \n"),
        "{}",
        left.stdout
    );
    let no = session(state.path(), &["--terminal", "papers"], |line| {
        Some(if line.ends_with("[y/n]") { "n" } else { "" })
    });
    assert_eq!(no.code, Some(1));
    assert!(
        no.stdout
            .contains("Step 1 did not pass. The wiring list is not signed."),
        "{}",
        no.stdout
    );
}

#[test]
fn a_dry_fire_before_the_other_steps_is_refused_and_nothing_is_asked() {
    let state = tempfile::tempdir().expect("a folder");
    let ran = session(state.path(), &["--terminal", "dry-fire"], all_right);
    assert!(
        ran.stdout
            .contains("The steps that guard a person before it do not stand."),
        "{}",
        ran.stdout
    );
    assert_eq!(ran.code, Some(1));
}

#[test]
fn a_terminal_that_goes_ends_the_session_and_what_was_open_is_not_on_record() {
    let state = tempfile::tempdir().expect("a folder");
    let ran = session(state.path(), &["--terminal", "papers"], |line| {
        if line.ends_with("[y/n]") {
            None
        } else {
            Some("")
        }
    });
    assert_eq!(ran.code, Some(1), "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stderr.contains("the terminal has gone"),
        "{}",
        ran.stderr
    );
}

#[test]
fn a_step_that_is_none_is_refused_with_the_list_of_them() {
    let state = tempfile::tempdir().expect("a folder");
    let ran = session(state.path(), &["--terminal", "step-nine"], all_right);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("12 contact"), "{}", ran.stderr);
}
