//! Clients that open connections and say nothing.

use super::{Console, PATIENCE, client};
use rustix::process::{Resource, Rlimit};

#[test]
fn among_1100_half_open_connections_hold_is_answered() {
    let own = rustix::process::getrlimit(Resource::Nofile);
    let more = Rlimit {
        current: own.maximum.or(Some(4096)),
        maximum: own.maximum,
    };
    rustix::process::setrlimit(Resource::Nofile, more).expect("more descriptors for this test");
    let folder = tempfile::tempdir().expect("a folder");
    let mut console = Console::start(&folder.path().join("state"), &[]);
    let half = format!("GET / HTTP/1.1\r\nHost: {}\r\n", console.address);
    let mut open = Vec::new();
    for n in 0..1100 {
        let text = if n % 2 == 0 { half.as_str() } else { "" };
        open.extend(client::begin(console.address, text));
    }
    assert!(open.len() > 1000, "{}", open.len());
    console.hold(1);
    console.hold(2);
    assert!(console.terminate().success());
}

#[test]
fn half_a_request_is_answered_or_closed_in_its_time() {
    use std::io::Read as _;
    let folder = tempfile::tempdir().expect("a folder");
    let console = Console::start(&folder.path().join("state"), &[]);
    let at = console.address;
    let mut heads = client::begin(at, "GET / HTTP/1.1\r\nHost: x\r\n").expect("a connection");
    let body = format!(
        "POST /api/ask HTTP/1.1\r\nHost: {at}\r\nContent-Type: application/json\r\n\
         Content-Length: 20\r\n\r\n{{\"gene"
    );
    let mut bodies = client::begin(at, &body).expect("a connection");
    let mut told = Vec::new();
    heads.read_to_end(&mut told).expect("closed");
    told.clear();
    bodies.read_to_end(&mut told).expect("closed");
    let told = String::from_utf8_lossy(&told);
    assert!(told.starts_with("HTTP/1.1 408"), "{told}");
    assert!(told.contains("application/json"), "{told}");
    // And a new one is served.
    assert_eq!(
        client::get(at, "/", PATIENCE).expect("answered").status,
        200
    );
}
