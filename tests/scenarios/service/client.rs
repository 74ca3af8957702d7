//! As little of HTTP and WebSocket as these tests need.

use std::io::{self, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

use serde_json::Value;

#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }
}

fn open(address: SocketAddr, within: Duration) -> io::Result<TcpStream> {
    let stream = TcpStream::connect_timeout(&address, within)?;
    stream.set_read_timeout(Some(within))?;
    stream.set_write_timeout(Some(within))?;
    Ok(stream)
}

/// Sends a request with these lines of head and this body, and reads the answer to its end.
pub fn send(
    address: SocketAddr,
    first: &str,
    lines: &[&str],
    body: &str,
    within: Duration,
) -> io::Result<Answer> {
    let mut stream = open(address, within)?;
    let mut head = format!("{first} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n");
    for line in lines {
        head += line;
        head += "\r\n";
    }
    if !body.is_empty() {
        head += &format!("Content-Length: {}\r\n", body.len());
    }
    stream.write_all(format!("{head}\r\n{body}").as_bytes())?;
    let mut told = Vec::new();
    stream.read_to_end(&mut told)?;
    let told = String::from_utf8_lossy(&told).into_owned();
    let (head, body) = told.split_once("\r\n\r\n").unwrap_or((&told, ""));
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
    let status = status.ok_or_else(|| io::Error::other(format!("no answer: {told:?}")))?;
    Ok(Answer {
        status,
        head: head.to_owned(),
        body: body.to_owned(),
    })
}

pub fn post(address: SocketAddr, path: &str, body: &str, within: Duration) -> io::Result<Answer> {
    let json = ["Content-Type: application/json"];
    send(address, &format!("POST {path}"), &json, body, within)
}

pub fn get(address: SocketAddr, path: &str, within: Duration) -> io::Result<Answer> {
    send(address, &format!("GET {path}"), &[], "", within)
}

/// Sends the beginning of a request and keeps the connection.
pub fn begin(address: SocketAddr, text: &str) -> io::Result<TcpStream> {
    let mut stream = open(address, super::PATIENCE)?;
    stream.write_all(text.as_bytes())?;
    Ok(stream)
}

/// The first message of the socket that tells.
#[track_caller]
pub fn snapshot(address: SocketAddr) -> Value {
    let ask = format!(
        "GET /api/watch HTTP/1.1\r\nHost: {address}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
         Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
    );
    let mut stream = begin(address, &ask).expect("a connection");
    let mut seen: Vec<u8> = Vec::new();
    let mut byte = [0; 1];
    while !seen.ends_with(b"\r\n\r\n") {
        stream.read_exact(&mut byte).expect("a head");
        seen.push(byte[0]);
    }
    loop {
        let mut two = [0; 2];
        stream.read_exact(&mut two).expect("a message");
        let length = match two[1] & 0x7F {
            126 => {
                let mut n = [0; 2];
                stream.read_exact(&mut n).expect("a length");
                usize::from(u16::from_be_bytes(n))
            }
            127 => {
                let mut n = [0; 8];
                stream.read_exact(&mut n).expect("a length");
                usize::try_from(u64::from_be_bytes(n)).expect("a length")
            }
            n => usize::from(n),
        };
        let mut text = vec![0; length];
        stream.read_exact(&mut text).expect("a message");
        // Anything but text (a ping) is passed over.
        if two[0] & 0x0F == 1 {
            return serde_json::from_slice(&text).expect("JSON");
        }
    }
}
