//! Many who ask for the same program, and pages that have no business here.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use super::{Console, PATIENCE, client};

/// A setup for what is cut here.
fn setup(folder: &Path, name: &str) {
    let setup = "material = \"mild-steel\"\nthickness = 5.0\nsheet = [1000.0, 1000.0]\n\
                 origin = [10.0, 10.0]\nclamp = [5.0, 990.0]\nchart = \"mild-steel 5 mm 40 A\"\n";
    fs::write(folder.join(format!("{name}.toml")), setup).expect("written");
}

/// A program of many cuts in the panel's folder: its vetting takes a while. `n` makes it another one.
pub fn many_cuts(state: &Path, name: &str, n: usize) {
    let folder = state.join("programs");
    fs::create_dir_all(&folder).expect("a folder");
    let mut text = format!("({n})\nG21 G90 F1100\n");
    for k in 0..6400 {
        let (x, y) = (
            5.0 + f64::from(k % 80) * 11.0,
            5.0 + f64::from(k / 80) * 11.0,
        );
        let (right, up) = (x + 6.0, y + 6.0);
        let _ = write!(
            text,
            "G0 X{x:.3} Y{y:.3}\nM3\nG1 X{right:.3}\nG1 Y{up:.3}\nG1 X{x:.3}\nM5\n"
        );
    }
    text += "M2\n";
    fs::write(folder.join(format!("{name}.nc")), text).expect("written");
    setup(&folder, name);
}

/// One cut to and fro, whose pieces all lie near each other: its vetting takes minutes.
pub fn long_program(state: &Path, name: &str) {
    let folder = state.join("programs");
    fs::create_dir_all(&folder).expect("a folder");
    let mut text = "G21 G90 F1100\nG0 X5 Y5\nM3\n".to_owned();
    for k in 0..20_000 {
        let x = if k % 2 == 0 { 900.0 } else { 5.0 };
        let _ = writeln!(text, "G1 X{x:.1} Y{:.3}", 5.0 + f64::from(k) * 0.045);
    }
    text += "M5\nM2\n";
    fs::write(folder.join(format!("{name}.nc")), text).expect("written");
    setup(&folder, name);
}

/// The most memory that the process has ever had, kB.
fn most_memory(console: &Console) -> u64 {
    let pid = console.pid().as_raw_nonzero();
    let status = fs::read_to_string(format!("/proc/{pid}/status")).expect("a process");
    let line = status.lines().find(|l| l.starts_with("VmHWM:"));
    let word = line.and_then(|l| l.split_whitespace().nth(1));
    word.and_then(|w| w.parse().ok()).expect("a number")
}

#[test]
fn many_who_ask_for_one_program_share_one_vetting_and_hold_is_answered() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    many_cuts(&state, "long", 0);
    let mut console = Console::start(&state, &[]);
    let at = console.address;
    let ask = move || client::get(at, "/api/program?id=own/long.nc", PATIENCE * 4);
    let one = ask().expect("answered");
    assert_eq!(one.status, 200, "{}", one.body);
    let alone = most_memory(&console);
    // Another text: nothing of it is at hand yet.
    many_cuts(&state, "long", 1);
    let asking: Vec<_> = (0..12).map(|_| std::thread::spawn(ask)).collect();
    console.hold(1);
    for one in asking {
        let answer = one.join().expect("a thread").expect("answered");
        assert_eq!(answer.status, 200, "{}", answer.body);
    }
    let together = most_memory(&console);
    println!("one asks: {alone} kB, twelve ask: {together} kB");
    assert!(
        together < 2 * alone + 40_000,
        "one: {alone} kB, twelve: {together} kB"
    );
    assert!(console.terminate().success());
}

#[test]
fn a_page_of_another_site_gets_nothing_but_the_console_itself() {
    let folder = tempfile::tempdir().expect("a folder");
    let console = Console::start(&folder.path().join("state"), &[]);
    let get = |path: &str, site: &str| {
        let site = format!("Sec-Fetch-Site: {site}");
        client::send(
            console.address,
            &format!("GET {path}"),
            &[&site],
            "",
            PATIENCE,
        )
        .expect("answered")
        .status
    };
    for path in [
        "/api/programs",
        "/api/program?id=demo/hinge-plates.nc",
        "/main.js",
        "/api/events",
    ] {
        for site in ["cross-site", "same-site"] {
            assert_eq!(get(path, site), 403, "{path} {site}");
        }
        for site in ["same-origin", "none"] {
            assert_ne!(get(path, site), 403, "{path} {site}");
        }
    }
    assert_eq!(get("/", "cross-site"), 200, "a link to the console");
}

#[test]
fn whatever_goes_wrong_below_api_is_told_as_json() {
    let folder = tempfile::tempdir().expect("a folder");
    let console = Console::start(&folder.path().join("state"), &[]);
    let json = "Content-Type: application/json";
    let long = "x".repeat(300 * 1024);
    for (first, lines, body, status) in [
        ("GET /api/nothing", &[][..], "", 404),
        ("GET /api", &[], "", 404),
        ("DELETE /api/ask", &[], "", 405),
        ("GET /api/hold", &[], "", 405),
        ("PATCH /api/nothing", &[], "", 404),
        ("GET /api/program", &[], "", 400),
        ("GET /api/ways?back_mm=x", &[], "", 400),
        ("GET /api/watch", &[], "", 400),
        ("POST /api/ask", &["Content-Type: text/plain"], "{}", 415),
        ("POST /api/ask", &[json], "{}", 422),
        (
            "POST /api/ask",
            &[json],
            r#"{"generation":1,"ask":{"kind":"start","more":2}}"#,
            422,
        ),
        ("POST /api/ask", &[json], long.as_str(), 413),
        ("GET /api/job?seal=none", &[], "", 404),
    ] {
        let answer = client::send(console.address, first, lines, body, PATIENCE);
        let answer = answer.expect("answered");
        assert_eq!(answer.status, status, "{first}: {answer:?}");
        let told = answer.json();
        assert!(
            told["says"].is_string() && told["remedy"].is_string(),
            "{first}: {told}"
        );
        assert!(
            answer.head.contains("application/json"),
            "{first}: {}",
            answer.head
        );
    }
}
