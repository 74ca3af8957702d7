//! The real binary, watched from another address than this machine's loopback one.

use std::io::Read as _;
use std::net::{SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::Command;

use super::{Console, PATIENCE, alarmed, client};
use crate::rig::{Ran, fixture, standclear};

/// An address of this machine that is not loopback: what it would send from to a network (nothing is
/// sent). A peer that connects to it from here comes from it.
fn own_address() -> std::net::IpAddr {
    let socket = UdpSocket::bind("0.0.0.0:0").expect("a socket");
    socket
        .connect("198.51.100.1:9")
        .expect("this test needs a machine with a network: one address besides 127.0.0.1");
    socket.local_addr().expect("an address").ip()
}

/// The built-in machine file with `[access]` as given.
fn machine_file(folder: &Path, access: &str) -> PathBuf {
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let text = std::fs::read_to_string(config.join("machines/practice.toml")).expect("there");
    let text = text.replace("\"../", &format!("\"{}/", config.display()));
    let file = folder.join("machine.toml");
    std::fs::write(&file, format!("{text}\n{access}\n")).expect("written");
    file
}

fn practice(folder: &Path, access: &str, listen: &str) -> Command {
    let mut command = standclear();
    command
        .arg("practice")
        .arg(fixture("square.nc"))
        .arg("--setup")
        .arg(fixture("square.toml"))
        .arg("--config")
        .arg(machine_file(folder, access))
        .arg("--state")
        .arg(folder.join("state"))
        .args(["--listen", listen, "--speed", "20"]);
    command
}

const LAN: &str = "[access]\nwatch = \"lan\"";

fn ask(at: SocketAddr, kind: &str) -> client::Answer {
    let body = format!("{{\"generation\":1,\"ask\":{{\"kind\":\"{kind}\"}}}}");
    client::post(at, "/api/ask", &body, PATIENCE).expect("answered")
}

#[test]
fn from_another_address_the_panel_is_watched_and_held_and_with_the_pin_prepared() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut console = Console::of(&practice(folder.path(), LAN, "0.0.0.0:0"));
    let here = console.address;
    assert!(here.ip().is_loopback(), "what is printed is the console");
    let lan = SocketAddr::new(own_address(), here.port());
    assert!(!lan.ip().is_loopback());
    assert!(client::snapshot(lan)["view"]["phase"].is_string());
    for kind in [
        "start",
        "home",
        "permit-test",
        "unload",
        "end-job",
        "skip-cut",
    ] {
        let refused = ask(lan, kind);
        assert_eq!(refused.status, 403, "{kind}: {refused:?}");
        assert_eq!(refused.json()["field"], "seat", "{kind}");
    }
    assert_eq!(ask(here, "home").status, 200, "the console is heard");
    let programs = |lines: &[&str]| {
        let got = client::send(lan, "GET /api/programs", lines, "", PATIENCE);
        got.expect("answered").status
    };
    assert_eq!(programs(&[]), 403);
    let pin = r#"{"pin":"428613"}"#;
    let set = |at| client::post(at, "/api/pin", pin, PATIENCE).expect("answered");
    assert_eq!(set(lan).status, 403, "not from there");
    assert_eq!(set(here).status, 200);
    let wrong = client::post(lan, "/api/enter", r#"{"pin":"428614"}"#, PATIENCE);
    assert_eq!(wrong.expect("answered").status, 403);
    let entered = client::post(lan, "/api/enter", pin, PATIENCE).expect("answered");
    assert_eq!(entered.status, 200, "{entered:?}");
    let head = entered.head.to_lowercase();
    let cookie = head.lines().find_map(|l| l.strip_prefix("set-cookie: "));
    let pass = cookie.and_then(|c| c.split(';').next()).expect("a pass");
    let cookie = format!("Cookie: {pass}");
    assert_eq!(programs(&[&cookie]), 200);
    // A screen that comes with it keeps it; it moves nothing all the same.
    let watch = format!(
        "GET /api/watch HTTP/1.1\r\nHost: {lan}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
         {cookie}\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
    );
    let mut screen = client::begin(lan, &watch).expect("a connection");
    let mut first = [0; 12];
    screen.read_exact(&mut first).expect("an answer");
    assert_eq!(&first, b"HTTP/1.1 101");
    let json = ["Content-Type: application/json", cookie.as_str()];
    let start = r#"{"generation":1,"ask":{"kind":"start"}}"#;
    let refused = client::send(lan, "POST /api/ask", &json, start, PATIENCE);
    assert_eq!(refused.expect("answered").status, 403);
    assert_eq!(programs(&[&cookie]), 200);
    // ... but sends a program: once, and not over another.
    let part = r#"{"file":"sent.nc","text":"G21\nM30\n","setup":null,"replaces":null}"#;
    let send = |lines: &[&str]| {
        let sent = client::send(lan, "POST /api/program", lines, part, PATIENCE);
        sent.expect("answered")
    };
    assert_eq!(send(&json[..1]).status, 403, "not without the PIN");
    let taken = send(&json);
    assert_eq!(taken.status, 200, "{taken:?}");
    assert_eq!(taken.json()["listed"]["id"], "own/sent.nc");
    let again = send(&json);
    assert_eq!(
        (again.status, &again.json()["field"]),
        (409, &serde_json::json!("replaces"))
    );
    let kept = folder.path().join("state/programs/sent.nc");
    assert_eq!(std::fs::read_to_string(kept).expect("kept"), "G21\nM30\n");
    let held = client::post(lan, "/api/hold", r#"{"press":5}"#, PATIENCE).expect("answered");
    assert_eq!(held.status, 200, "{held:?}");
    assert!(!alarmed(&console.view(), "screen-lost"));
    assert!(console.terminate().success());
}

#[test]
fn unless_the_machine_file_says_so_no_other_address_is_listened_on() {
    let folder = tempfile::tempdir().expect("a folder");
    for access in ["", "[access]\nwatch = \"this-machine\""] {
        let ran = Ran::of(&mut practice(folder.path(), access, "0.0.0.0:0"));
        assert_eq!(ran.code, Some(2), "{}", ran.stderr);
        assert!(ran.stderr.contains("[access]"), "{}", ran.stderr);
    }
    let wrong = Ran::of(&mut practice(
        folder.path(),
        "[access]\nwatch = \"all\"",
        "127.0.0.1:0",
    ));
    assert_eq!(wrong.code, Some(2));
    assert!(wrong.stderr.contains("this-machine"), "{}", wrong.stderr);
}
