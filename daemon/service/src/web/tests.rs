//! The server over a real socket, with a make-believe machine behind it.

mod access;
mod review;

use std::sync::Mutex;

use control::{Answer, Ask, PressId};
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::sync::{mpsc, oneshot};
use units::Time;

use super::*;
use crate::panel::{Asked, Published};

struct Rig {
    address: SocketAddr,
    published: watch::Sender<Arc<Published>>,
    asked: Arc<Mutex<Vec<(u64, Ask)>>>,
    screens: watch::Receiver<Option<bool>>,
    end: Option<oneshot::Sender<()>>,
    state: WebState,
    serving: tokio::task::JoinHandle<io::Result<()>>,
    _dir: tempfile::TempDir,
}

async fn rig(practice: bool) -> Rig {
    rig_of(Config::built_in(), practice).await
}

async fn rig_of(config: Config, practice: bool) -> Rig {
    let (asks, mut coming) = mpsc::channel::<Asked>(4);
    let first = Published {
        seq: 0,
        at: Time::ZERO,
        view: fixtures::view(),
    };
    let (published, follow) = watch::channel(Arc::new(first));
    let asked = Arc::new(Mutex::new(Vec::new()));
    let heard = asked.clone();
    tokio::spawn(async move {
        while let Some(one) = coming.recv().await {
            heard
                .lock()
                .expect("a lock")
                .push((one.generation, one.ask));
            let _ = one.answer.send(Answer::Accepted);
        }
    });
    let config = Arc::new(config);
    let dir = tempfile::tempdir().expect("a folder");
    let panel = Panel::new(asks, follow);
    let screens = panel.screens();
    let state = WebState {
        panel,
        library: Arc::new(Library::new(config.clone(), dir.path(), None, None)),
        set_right: practice.then(|| Arc::new(|| Ok(())) as Arc<SetRight>),
        config,
        review: Arc::new(Review::new(dir.path())),
        papers: Arc::new(|_, _, _| {}),
        proved: Arc::new(|| Err("the journal is locked".into())),
    };
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("an address");
    let (end, ended) = oneshot::channel::<()>();
    let serving = tokio::spawn(serve(listener, state.clone(), async {
        let _ = ended.await;
    }));
    Rig {
        address,
        published,
        asked,
        screens,
        end: Some(end),
        state,
        serving,
        _dir: dir,
    }
}

struct Reply {
    status: u16,
    head: String,
    body: String,
}

impl Reply {
    #[track_caller]
    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.body))
    }
}

impl Rig {
    async fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Reply {
        let mut stream = TcpStream::connect(self.address)
            .await
            .expect("a connection");
        let mut request = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        let mut all = vec![("Content-Length", body.len().to_string())];
        if !headers.iter().any(|(name, _)| *name == "Host") {
            all.push(("Host", self.address.to_string()));
        }
        all.extend(headers.iter().map(|(n, v)| (*n, (*v).to_owned())));
        for (name, value) in all {
            request += &format!("{name}: {value}\r\n");
        }
        request += "\r\n";
        stream.write_all(request.as_bytes()).await.expect("sent");
        // A server that has refused a long body may close before it has taken all of it.
        let _ = stream.write_all(body.as_bytes()).await;
        let mut reply = Vec::new();
        let _ = stream.read_to_end(&mut reply).await;
        let reply = String::from_utf8_lossy(&reply).into_owned();
        let (head, body) = reply.split_once("\r\n\r\n").unwrap_or((&reply, ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
        Reply {
            status: status.unwrap_or(0),
            head: head.to_owned(),
            body: body.to_owned(),
        }
    }

    async fn post(&self, path: &str, body: &Value) -> Reply {
        let kind = [("Content-Type", "application/json")];
        self.send("POST", path, &kind, &body.to_string()).await
    }

    fn asked(&self) -> Vec<(u64, Ask)> {
        self.asked.lock().expect("a lock").clone()
    }
}

const PING: u8 = 9;

/// A socket that watches: the frames of a server are unmasked text, one message each.
struct Viewer(TcpStream);

impl Viewer {
    async fn join(rig: &Rig, headers: &str) -> (u16, Self) {
        let mut stream = TcpStream::connect(rig.address).await.expect("a connection");
        let request = format!(
            "GET /api/watch HTTP/1.1\r\nHost: {}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\
             Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n{headers}\r\n",
            rig.address
        );
        stream.write_all(request.as_bytes()).await.expect("sent");
        let mut head = Vec::new();
        while !head.ends_with(b"\r\n\r\n") {
            head.push(stream.read_u8().await.expect("an answer"));
        }
        let head = String::from_utf8_lossy(&head).into_owned();
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
        (status.unwrap_or(0), Self(stream))
    }

    /// The next message; `None`: the panel has said goodbye.
    async fn next(&mut self) -> Option<Value> {
        loop {
            let (kind, payload) = self.frame().await?;
            match kind {
                1 => return Some(serde_json::from_slice(&payload).expect("JSON")),
                PING => {}
                _ => return None,
            }
        }
    }

    /// The next frame: its kind, and what is in it.
    async fn frame(&mut self) -> Option<(u8, Vec<u8>)> {
        let kind = self.0.read_u8().await.ok()? & 0x0f;
        let length = match self.0.read_u8().await.ok()? {
            126 => usize::from(self.0.read_u16().await.ok()?),
            127 => self.0.read_u64().await.ok()? as usize,
            short => usize::from(short),
        };
        let mut payload = vec![0; length];
        self.0.read_exact(&mut payload).await.ok()?;
        Some((kind, payload))
    }

    /// Answers what asks whether it is there, until `stop`.
    async fn beats_until(&mut self, mut stop: oneshot::Receiver<()>) {
        loop {
            tokio::select! {
                _ = &mut stop => return,
                frame = self.frame() => match frame {
                    // Masked with zeros: a pong without anything in it.
                    Some((PING, _)) => self.0.write_all(&[0x8A, 0x80, 0, 0, 0, 0]).await.expect("sent"),
                    Some(_) => {}
                    None => return,
                },
            }
        }
    }
}

#[tokio::test]
async fn a_file_that_the_browser_has_is_sent_only_when_it_has_changed() {
    let rig = rig(false).await;
    let first = rig.send("GET", "/main.js", &[], "").await;
    assert_eq!(first.status, 200);
    let tag = first
        .head
        .lines()
        .find_map(|line| line.strip_prefix("etag: "))
        .expect("a tag");
    assert!(first.head.contains("cache-control: no-cache"));
    let again = rig
        .send("GET", "/main.js", &[("If-None-Match", tag)], "")
        .await;
    assert_eq!((again.status, again.body.as_str()), (304, ""));
    let other = rig
        .send("GET", "/index.html", &[("If-None-Match", tag)], "")
        .await;
    assert_eq!(other.status, 200, "another file's hash");
    let said = rig.send("GET", "/api/programs", &[], "").await;
    assert!(
        said.head.contains("cache-control: no-store"),
        "{}",
        said.head
    );
}

#[tokio::test]
async fn a_request_reaches_the_machine_with_the_generation_that_was_seen() {
    let rig = rig(false).await;
    let reply = rig
        .post(
            "/api/ask",
            &json!({ "generation": 12, "ask": { "kind": "home" } }),
        )
        .await;
    assert_eq!(reply.status, 200, "{}", reply.body);
    assert_eq!(reply.json(), json!({ "v": 1, "answer": "accepted" }));
    assert_eq!(rig.asked(), [(12, Ask::Home)]);
}

#[tokio::test]
async fn hold_needs_no_generation() {
    let rig = rig(false).await;
    let reply = rig.post("/api/hold", &json!({})).await;
    assert_eq!(reply.status, 200, "{}", reply.body);
    assert_eq!(rig.asked().len(), 1);
    assert_eq!(rig.asked()[0].1, Ask::Hold { press: None });
    // A press has a name, so that it can be sent again; one that cannot be read is a press too.
    for (body, press) in [
        (json!({ "press": 77 }), Some(PressId(77))),
        (json!({ "press": "x" }), None),
        (json!({ "press": -1, "more": true }), None),
    ] {
        let reply = rig.post("/api/hold", &body).await;
        assert_eq!(reply.status, 200, "{}", reply.body);
        let asked = rig.asked();
        assert_eq!(asked.last().expect("asked").1, Ask::Hold { press });
    }
}

#[tokio::test]
async fn what_is_wrong_with_a_request_is_named() {
    let rig = rig(false).await;
    for (body, field, part) in [
        (
            json!({ "ask": { "kind": "home" } }),
            "generation",
            "missing",
        ),
        (
            json!({ "generation": "x", "ask": { "kind": "home" } }),
            "generation",
            "expected u64",
        ),
        (
            json!({ "generation": 1, "ask": { "kind": "strat" } }),
            "ask.kind",
            "strat",
        ),
        (
            json!({ "generation": 1, "ask": { "kind": "vouch", "check": "clamp" } }),
            "ask",
            "clamp",
        ),
        (
            json!({ "generation": 1, "ask": { "kind": "resume", "splice": null } }),
            "ask",
            "/api/resume",
        ),
        (
            json!({ "generation": 1, "ask": { "kind": "home" }, "x": 1 }),
            "x",
            "not part",
        ),
    ] {
        let reply = rig.post("/api/ask", &body).await;
        assert_eq!(reply.status, 422, "{body}");
        let trouble = reply.json();
        assert_eq!(trouble["field"], field, "{body}: {trouble}");
        assert!(
            trouble["says"].as_str().is_some_and(|s| s.contains(part)),
            "{body}: {trouble}"
        );
    }
    let kind = [("Content-Type", "application/json")];
    let reply = rig
        .send("POST", "/api/ask", &kind, "{\"generation\":")
        .await;
    assert_eq!(
        (reply.status, reply.json()["field"].clone()),
        (400, json!("body"))
    );
    assert!(rig.asked().is_empty());
}

#[tokio::test]
async fn nothing_is_asked_by_get_or_by_a_form() {
    let rig = rig(false).await;
    for path in ["/api/ask", "/api/hold", "/api/load", "/api/table"] {
        assert_eq!(rig.send("GET", path, &[], "").await.status, 405, "{path}");
        for kind in [
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data",
        ] {
            let reply = rig
                .send("POST", path, &[("Content-Type", kind)], "{}")
                .await;
            assert_eq!(reply.status, 415, "{path} {kind}");
        }
        assert_eq!(
            rig.send("POST", path, &[], "{}").await.status,
            415,
            "{path}"
        );
    }
    assert!(rig.asked().is_empty());
}

#[tokio::test]
async fn a_page_of_another_site_reaches_neither_requests_nor_the_socket() {
    let rig = rig(true).await;
    let kind = ("Content-Type", "application/json");
    for strange in [
        ("Origin", "http://elsewhere.example"),
        ("Origin", "http://127.0.0.1:1"),
        ("Sec-Fetch-Site", "cross-site"),
        ("Host", "elsewhere.example"),
    ] {
        for path in ["/api/ask", "/api/hold", "/api/load", "/api/table"] {
            let reply = rig.send("POST", path, &[kind, strange], "{}").await;
            assert_eq!(reply.status, 403, "{path} {strange:?}");
        }
        if strange.0 != "Host" {
            let header = format!("{}: {}\r\n", strange.0, strange.1);
            assert_eq!(Viewer::join(&rig, &header).await.0, 403, "{strange:?}");
        }
    }
    assert_eq!(
        rig.send("GET", "/", &[("Host", "elsewhere.example")], "")
            .await
            .status,
        403
    );
    assert!(rig.asked().is_empty());
}

#[tokio::test]
async fn a_long_body_is_turned_away() {
    let rig = rig(false).await;
    let kind = [("Content-Type", "application/json")];
    let long = format!("{{\"x\":\"{}\"}}", "x".repeat(300 * 1024));
    let reply = rig.send("POST", "/api/ask", &kind, &long).await;
    // The connection may be cut before the answer is read: what counts is that nothing was asked.
    assert!([413, 0].contains(&reply.status), "{}", reply.status);
    assert!(rig.asked().is_empty());
}

#[tokio::test]
async fn a_screen_is_told_what_its_controller_cannot_do_and_what_is_off_for_that() {
    for (config, lacks) in [(Config::built_in(), 0), (Config::built_in_quill(), 9)] {
        let rig = rig_of(config, false).await;
        let (_, mut viewer) = Viewer::join(&rig, "").await;
        let snapshot = viewer.next().await.expect("a snapshot");
        let told = snapshot["table"]["lacks"].as_array().expect("a list");
        assert_eq!(told.len(), lacks, "{told:?}");
        let whole = |lack: &Value| {
            let words = |key: &str| lack[key].as_str().is_some_and(|s| s.ends_with('.'));
            words("says") && words("therefore") && lack["place"].is_string()
        };
        assert!(told.iter().all(whole), "{told:?}");
    }
}

#[tokio::test]
async fn a_viewer_gets_a_snapshot_then_deltas_without_a_gap_and_a_goodbye() {
    let mut rig = rig(false).await;
    let (status, mut viewer) = Viewer::join(&rig, "").await;
    assert_eq!(status, 101);
    let snapshot = viewer.next().await.expect("a snapshot");
    assert_eq!(snapshot["kind"], "snapshot");
    let mut last = snapshot["n"].as_u64().expect("a number");
    for generation in 100..103 {
        let mut view = fixtures::view();
        view.generation = generation;
        let published = Published {
            seq: generation,
            at: Time::from_ms(generation),
            view,
        };
        rig.published
            .send(Arc::new(published))
            .expect("somebody listens");
        // Publications may be joined; the generation comes, and the numbers have no gap.
        loop {
            let told = viewer.next().await.expect("a delta");
            assert_eq!(told["kind"], "delta", "{told}");
            assert_eq!(told["n"].as_u64(), Some(last + 1), "{told}");
            last += 1;
            if told["set"]["generation"] == generation {
                break;
            }
        }
    }
    rig.end
        .take()
        .expect("not ended yet")
        .send(())
        .expect("it serves");
    while viewer.next().await.is_some() {}
    rig.serving.await.expect("no panic").expect("it ends well");
}

#[tokio::test]
async fn the_console_comes_with_its_types_and_a_policy_without_strangers() {
    let rig = rig(false).await;
    for (path, kind) in [
        ("/", "text/html"),
        ("/main.js", "text/javascript"),
        ("/styles/variables.css", "text/css"),
        ("/fonts/OFL.txt", "text/plain"),
    ] {
        let reply = rig.send("GET", path, &[], "").await;
        assert_eq!(reply.status, 200, "{path}");
        let head = reply.head.to_lowercase();
        assert!(
            head.contains(&format!("content-type: {kind}")),
            "{path}: {head}"
        );
        assert!(
            head.contains("default-src 'none'") && !head.contains("unsafe"),
            "{head}"
        );
        assert!(head.contains("nosniff"), "{head}");
    }
    for path in ["/nothing.js", "/../Cargo.toml", "/%2e%2e/Cargo.toml"] {
        assert_eq!(rig.send("GET", path, &[], "").await.status, 404, "{path}");
    }
}

#[tokio::test]
async fn a_page_that_is_not_there_and_a_journal_that_cannot_be_read_are_told() {
    let rig = rig(false).await;
    let reply = rig.send("GET", "/api/weather", &[], "").await;
    assert_eq!(
        (reply.status, reply.json()["field"].clone()),
        (404, json!("path"))
    );
    let reply = rig.send("GET", "/api/events", &[], "").await;
    assert_eq!(reply.status, 500);
    let says = reply.json()["says"].to_string();
    assert!(says.contains("journal.db"), "{says}");
    for path in [
        "/run/1",
        "/api/export/bundle?run=1",
        "/api/export/trace?name=start-1-2-3",
    ] {
        assert_eq!(rig.send("GET", path, &[], "").await.status, 404, "{path}");
    }
    let reply = rig
        .send("GET", "/api/program?id=own/none.nc", &[], "")
        .await;
    assert_eq!(
        (reply.status, reply.json()["field"].clone()),
        (404, json!("id"))
    );
    assert_eq!(
        rig.send("GET", "/api/job?seal=00", &[], "").await.status,
        404
    );
}

#[tokio::test]
async fn only_a_simulated_table_is_set_right_from_a_screen() {
    assert_eq!(
        rig(true).await.post("/api/table", &json!({})).await.status,
        200
    );
    let real = rig(false).await;
    assert_eq!(real.post("/api/table", &json!({})).await.status, 404);
}

#[tokio::test]
async fn a_program_is_loaded_by_its_id_and_version_alone() {
    let rig = rig(false).await;
    let id = "demo/hinge-plates.nc";
    let read = rig
        .send("GET", &format!("/api/program?id={id}"), &[], "")
        .await
        .json();
    let version = read["version"].clone();
    let accepted: Vec<Value> = (read["report"]["findings"]
        .as_array()
        .expect("a list")
        .iter())
    .enumerate()
    .filter(|(_, f)| f["severity"] == "warn")
    .map(|(k, f)| json!({ "finding": k, "rule": f["rule"], "reason": "looked at" }))
    .collect();
    let stale = json!({ "generation": 3, "id": id, "version": "x", "accepted": accepted });
    assert_eq!(rig.post("/api/load", &stale).await.status, 409);
    assert!(rig.asked().is_empty());
    let load = json!({ "generation": 3, "id": id, "version": version, "accepted": accepted });
    let reply = rig.post("/api/load", &load).await;
    assert_eq!(reply.json()["answer"], "accepted", "{}", reply.body);
    let asked = rig.asked();
    let [(3, Ask::Load { job })] = asked.as_slice() else {
        panic!("{asked:?}")
    };
    let seal = job.seal.hash();
    let drawn = rig
        .send("GET", &format!("/api/job?seal={seal}"), &[], "")
        .await;
    assert_eq!(drawn.json()["invented"], true);
}

async fn told(screens: &mut watch::Receiver<Option<bool>>, what: Option<bool>) {
    screens
        .wait_for(|told| *told == what)
        .await
        .expect("it serves");
}

#[tokio::test]
async fn the_machine_is_told_when_the_screen_that_has_commanded_is_gone_and_when_one_is_back() {
    let rig = rig(false).await;
    let mut screens = rig.screens.clone();
    let home = json!({ "generation": 4, "ask": { "kind": "home" } });
    // No page is open: this is no screen.
    rig.post("/api/ask", &home).await;
    let (_, mut viewer) = Viewer::join(&rig, "").await;
    viewer.next().await.expect("a snapshot");
    assert_eq!(*screens.borrow(), None, "it has only watched");
    rig.post("/api/hold", &json!({})).await;
    assert_eq!(*screens.borrow(), None, "HOLD takes no command");
    rig.post("/api/ask", &home).await;
    told(&mut screens, Some(true)).await;
    drop(viewer);
    told(&mut screens, Some(false)).await;
    let (_, mut again) = Viewer::join(&rig, "").await;
    told(&mut screens, Some(true)).await;
    // One that is there and answers nothing has no beat.
    told(&mut screens, Some(false)).await;
    let (stop, stopped) = oneshot::channel();
    let beats = tokio::spawn(async move {
        again.beats_until(stopped).await;
        again
    });
    told(&mut screens, Some(true)).await;
    stop.send(()).expect("it beats");
    let again = beats.await.expect("no panic");
    told(&mut screens, Some(false)).await;
    drop(again);
}
