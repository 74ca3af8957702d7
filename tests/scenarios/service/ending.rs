//! SIGTERM ends the process, whatever a client or a vetting is in the middle of.

use super::{Console, client};

#[test]
fn a_client_that_holds_half_a_request_open_does_not_keep_the_panel_alive() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut console = Console::start(&folder.path().join("state"), &[]);
    let at = console.address;
    let half =
        format!("POST /api/hold HTTP/1.1\r\nHost: {at}\r\nContent-Type: application/json\r\n");
    let _head = client::begin(at, &half).expect("a connection");
    let _nothing = client::begin(at, "").expect("a connection");
    let body = format!("{half}Content-Length: 20\r\n\r\n{{\"press\"");
    let _body = client::begin(at, &body).expect("a connection");
    console.hold(1);
    assert!(console.terminate().success());
}

#[test]
fn a_vetting_under_way_does_not_keep_the_panel_alive() {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state");
    super::vets::long_program(&state, "long");
    let mut console = Console::start(&state, &[]);
    let ask = format!(
        "GET /api/program?id=own/long.nc HTTP/1.1\r\nHost: {}\r\n\r\n",
        console.address
    );
    let _waiting = client::begin(console.address, &ask).expect("a connection");
    console.hold(1);
    assert!(console.terminate().success());
}
