//! What is looked at afterwards: a run in one file and out of it again, and a recorded run shown at a moment.

use std::path::Path;

use control::view::{ArcView, CutState, Phase};
use standclear::journal::Sought;
use standclear::review::{Moment, Review};

use crate::rig::{Ran, assert_whole, practise, standclear};

/// A run with a lost arc in a state folder of its own.
fn recorded() -> tempfile::TempDir {
    let state = tempfile::tempdir().expect("a folder");
    let dir = state.path().to_string_lossy().into_owned();
    assert_whole(&practise(&["--state", &dir, "--fault", "arc-lost@2:60"]));
    state
}

fn run(args: &[&str], paths: &[&Path]) -> Ran {
    let mut command = standclear();
    let mut paths = paths.iter();
    for arg in args {
        match *arg {
            "@" => command.arg(paths.next().expect("a path for each @")),
            arg => command.arg(arg),
        };
    }
    Ran::of(&mut command)
}

#[test]
fn a_run_goes_into_one_file_and_is_told_and_replayed_out_of_it() {
    let state = recorded();
    let file = state.path().join("run.tar");
    let bundle = ["log", "--state", "@", "--run", "last", "--bundle", "@"];
    let made = run(&bundle, &[state.path(), &file]);
    assert_eq!(made.code, Some(0), "{}", made.stderr);
    assert!(
        made.stdout.contains("run 1, ") && !made.stdout.contains("lacks"),
        "{}",
        made.stdout
    );
    let again = run(&bundle, &[state.path(), &file]);
    assert_eq!(again.code, Some(2), "it never writes over a file");
    assert!(again.stderr.contains("not there yet"), "{}", again.stderr);

    let from = |format| run(&["log", "--from", "@", "--format", format], &[&file]);
    let own = |format| {
        let args = ["log", "--state", "@", "--run", "last", "--format", format];
        run(&args, &[state.path()])
    };
    for format in ["csv", "json", "text"] {
        let told = from(format);
        assert_eq!(told.code, Some(0), "{}", told.stderr);
        assert_eq!(told.stdout, own(format).stdout, "{format}");
    }
    let replayed = run(
        &["replay", "1", "--from", "@", "--format", "json"],
        &[&file],
    )
    .json();
    assert_eq!(replayed["equal"], true, "{replayed}");
    let other = run(&["replay", "2", "--from", "@"], &[&file]);
    assert!(other.stderr.contains("is of run 1"), "{}", other.stderr);

    // What the seal was made over is in it, and the curves about the stop.
    let work = tempfile::tempdir().expect("a folder");
    let (manifest, _) = standclear::review::bundle::read(&file, work.path()).expect("whole");
    assert_eq!(manifest.missing, Vec::<String>::new());
    for name in [
        "program.gz",
        "setup.toml",
        "machine.toml",
        "dialect.toml",
        "chart.json",
    ] {
        assert!(work.path().join("job").join(name).is_file(), "{name}");
    }
    let program = std::fs::read(crate::rig::fixture("square.nc")).expect("the program");
    let packed = std::fs::File::open(work.path().join("job/program.gz")).expect("there");
    let mut text = Vec::new();
    std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(packed), &mut text)
        .expect("unpacked");
    assert_eq!(text, program);
    let traces = std::fs::read_dir(work.path().join("traces"))
        .expect("there")
        .count();
    assert_eq!(traces, 1);
}

#[test]
fn a_file_that_is_cut_short_or_changed_is_refused_and_what_is_lacking_is_told() {
    let state = recorded();
    std::fs::remove_dir_all(state.path().join("jobs")).expect("removed");
    let file = state.path().join("run.tar");
    let made = run(
        &["log", "--state", "@", "--run", "1", "--bundle", "@"],
        &[state.path(), &file],
    );
    assert_eq!(made.code, Some(0), "{}", made.stderr);
    let lacks = "what the job was made of is no longer kept";
    assert!(made.stdout.contains(lacks), "{}", made.stdout);
    let whole = run(&["log", "--from", "@"], &[&file]);
    assert_eq!(whole.code, Some(0));
    assert!(whole.stderr.contains(lacks), "{}", whole.stderr);

    let bytes = std::fs::read(&file).expect("read");
    let hurt = state.path().join("hurt.tar");
    let refused = |bytes: &[u8], what: &str| {
        std::fs::write(&hurt, bytes).expect("written");
        let ran = run(&["log", "--from", "@"], &[&hurt]);
        assert_eq!((ran.code, ran.stdout.as_str()), (Some(2), ""), "{what}");
        assert!(ran.stderr.contains("hurt.tar: "), "{what}: {}", ran.stderr);
    };
    for part in 0..16 {
        refused(
            &bytes[..bytes.len() * part / 16],
            &format!("{part}/16 of it"),
        );
    }
    // A byte in the middle of its longest member.
    let mut changed = bytes.clone();
    changed[bytes.len() / 2] ^= 1;
    refused(&changed, "one bit");
}

/// Asked until it is there, as a screen does.
fn moment(review: &Review, us: u64) -> Moment {
    loop {
        let shown = review.moment(1, us).expect("shown");
        if shown.reached {
            return shown;
        }
    }
}

#[test]
fn a_recorded_run_is_shown_as_it_was_at_each_moment_forward_and_back() {
    let state = recorded();
    let review = Review::new(state.path());
    let runs = review.runs().expect("runs");
    assert_eq!(runs.len(), 1);
    assert_eq!((runs[0].run, runs[0].stops), (1, 1));
    assert!(runs[0].began.is_some() && runs[0].ended.is_some());
    let part = review.parts(1).expect("parts")[0];
    assert!(part.kept && part.from_us < part.to_us);

    let sought = Sought {
        run: Some(1),
        faults: true,
        most: 9,
    };
    let faults = review.events(sought).expect("events");
    let held = faults
        .iter()
        .find(|(e, _)| e.name == "held")
        .expect("a stop");
    assert!(held.1.is_some(), "its curves are named");
    let table = review
        .trace_csv(held.1.as_deref().expect("a name"))
        .expect("a table");
    assert!(table.lines().count() > 1000, "{}", table.lines().count());

    // While it burnt, then held, then at the end; and each of them again from behind.
    let at = held.0.clock_us;
    let before = moment(&review, at - 200_000);
    assert_eq!(
        (before.view.phase, before.view.torch.arc),
        (Phase::Running, ArcView::On)
    );
    assert_eq!(before.view.cut, Some(2));
    let all = Sought {
        faults: false,
        most: 999,
        ..sought
    };
    let told = review.events(all).expect("events");
    let resumed = told.iter().find(|(e, _)| e.name == "resumed");
    let stood = resumed.expect("it was gone on with").0.clock_us - 1;
    assert!(stood > at);
    let after = moment(&review, stood);
    // The automatic operator goes on as soon as it stands.
    let phase = after.view.phase;
    assert!(matches!(phase, Phase::Stopping | Phase::Held), "{phase:?}");
    let told = after.view.hold.as_ref().expect("a hold");
    assert_eq!((told.cause, told.cut), (control::Cause::ArcLost, Some(2)));
    let seal = after.view.seal.clone().expect("a job");
    let drawn = review.job(&seal).expect("drawn");
    assert_eq!(drawn.drawing.cuts.len(), after.view.cuts.len());
    let end = moment(&review, part.to_us);
    assert!(end.view.cuts.iter().all(|c| c.state == CutState::Done));
    assert_eq!(moment(&review, stood).view, after.view);
    assert_eq!(moment(&review, at - 200_000).view, before.view);
    assert!(review.moment(9, 0).is_err(), "there was no such start");
}
