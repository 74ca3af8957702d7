//! Files that are no files, and files that are too long.

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;

use super::{Console, PATIENCE, client};
use crate::rig::{Ran, fixture, standclear};

fn fifo(path: &Path) {
    let made = std::process::Command::new("mkfifo").arg(path).status();
    assert!(made.expect("mkfifo").success());
}

#[test]
fn devices_and_pipes_are_no_configuration_program_setup_or_dialect() {
    let folder = tempfile::tempdir().expect("a folder");
    let pipe = folder.path().join("pipe");
    fifo(&pipe);
    let pipe = pipe.to_str().expect("a path").to_owned();
    let square = fixture("square.nc");
    let square = square.to_str().expect("a path");
    for odd in ["/dev/zero", &pipe] {
        for args in [
            &["check", "--config", odd][..],
            &["serve", "--config", odd],
            &["vet", odd],
            &["vet", square, "--setup", odd],
            &["vet", square, "--config", odd],
            &["practice", odd, "--headless"],
            &["practice", square, "--setup", odd, "--headless"],
        ] {
            // A reader that begins on it is stopped, by its time or by a bound on its memory (kB).
            let mut shell = std::process::Command::new("sh");
            let script = "ulimit -v 4000000; exec timeout -s KILL 20 \"$0\" \"$@\"";
            shell
                .arg("-c")
                .arg(script)
                .arg(standclear().get_program())
                .args(args);
            let ran = Ran::of(&mut shell);
            assert!(
                matches!(ran.code, Some(1 | 2)),
                "{args:?}: {:?} {}",
                ran.code,
                ran.stderr
            );
            let told = format!("{}{}", ran.stdout, ran.stderr);
            assert!(told.contains("not a regular file"), "{args:?}: {told}");
        }
    }
}

#[test]
fn a_link_out_of_the_programs_folder_is_not_followed() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    let programs = state.join("programs");
    fs::create_dir_all(&programs).expect("a folder");
    let secret = folder.path().join("secret.nc");
    fs::write(&secret, "G21\n").expect("written");
    symlink(&secret, programs.join("out.nc")).expect("a link");
    fs::copy(fixture("square.nc"), programs.join("inside.nc")).expect("copied");
    symlink("inside.nc", programs.join("also.nc")).expect("a link");
    fifo(&programs.join("pipe.nc"));
    let console = Console::start(&state, &[]);
    let list = client::get(console.address, "/api/programs", PATIENCE).expect("answered");
    assert!(
        !list.body.contains("out.nc") && !list.body.contains("pipe.nc"),
        "{}",
        list.body
    );
    assert!(
        list.body.contains("inside.nc") && list.body.contains("also.nc"),
        "{}",
        list.body
    );
    let one = client::get(console.address, "/api/program?id=own/out.nc", PATIENCE);
    assert_eq!(one.expect("answered").status, 404);
}

#[test]
fn a_number_too_many_is_no_place_and_no_travel() {
    let folder = tempfile::tempdir().expect("a folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let machine = fs::read_to_string(example.join("machines/practice.toml")).expect("a file");
    let setup = fs::read_to_string(fixture("square.toml")).expect("a file");
    let told = |name: &str, text: &str, args: &dyn Fn(&str) -> Vec<String>| {
        let file = folder.path().join(name);
        fs::write(&file, text).expect("written");
        let ran = Ran::of(standclear().args(args(file.to_str().expect("a path"))));
        assert_eq!(ran.code, Some(2), "{} {}", ran.stdout, ran.stderr);
        ran.stderr
    };
    let check = |file: &str| vec!["check".into(), "--config".into(), file.into()];
    for key in ["travel", "sheet_corner", "park"] {
        let mut lines: Vec<String> = machine.lines().map(str::to_owned).collect();
        let line = lines
            .iter_mut()
            .find(|l| l.trim_start().starts_with(&format!("{key} =")));
        let line = line.unwrap_or_else(|| panic!("{key} is not in the file"));
        *line = format!("{key} = [1250.0, 1250.0, 90.0, 7.0]");
        let says = told("machine.toml", &lines.join("\n"), &check);
        assert!(says.contains("numbers are wanted, not 4"), "{says}");
    }
    let square = fixture("square.nc");
    let vet = |file: &str| {
        let program = square.to_str().expect("a path").to_owned();
        vec!["vet".into(), program, "--setup".into(), file.into()]
    };
    let says = told(
        "setup.toml",
        &setup.replace("[160, 100]", "[160, 100, 5]"),
        &vet,
    );
    assert!(
        says.contains("2 numbers [x, y] are wanted, not 3"),
        "{says}"
    );
}

#[test]
fn a_dialect_that_lights_the_torch_to_put_it_out_is_refused_with_its_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let plain = fs::read_to_string(config.join("dialects/plain.toml")).expect("a file");
    let wrong = plain.replace("torch_off = \"M5\"", "torch_off = \"m03\"");
    assert_ne!(wrong, plain);
    fs::write(folder.path().join("mine.toml"), &wrong).expect("written");
    let machine = fs::read_to_string(config.join("machines/practice.toml")).expect("a file");
    let lines = machine.lines().map(|line| match line.split_once(" = ") {
        Some(("dialect", _)) => "dialect = \"mine.toml\"",
        _ => line,
    });
    let machine = lines.collect::<Vec<_>>().join("\n");
    let file = folder.path().join("machine.toml");
    fs::write(&file, machine).expect("written");
    let line = wrong
        .lines()
        .position(|l| l.contains("m03"))
        .expect("a line")
        + 1;
    let ran = Ran::of(standclear().args(["check", "--config"]).arg(&file));
    assert_eq!(ran.code, Some(2), "{}", ran.stderr);
    for part in [
        "mine.toml",
        &format!("line {line}"),
        "commands.torch_off",
        "the opposite",
    ] {
        assert!(ran.stderr.contains(part), "{part}: {}", ran.stderr);
    }
}
