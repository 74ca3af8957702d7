//! Moving bytes through the serial port.

use std::future::poll_fn;
use std::io;
use std::task::{Context, Poll};

use super::outbox::Outbox;
use crate::guard_thread::Gate;
use crate::port::Port;

/// Most bytes taken in one go.
const GULP: usize = 1024;

/// What has happened on the wire.
#[derive(Debug)]
pub enum Moved {
    /// Bytes came in.
    In(Vec<u8>),
    /// So many bytes went out.
    Out(usize),
    /// The port is gone, in words.
    Lost(String),
}

/// Waits until bytes come in, or until waiting bytes have gone out. Without a port: for ever.
/// Nothing is lost if it is given up on the way.
pub async fn moved(port: Option<&Port>, outbox: &mut Outbox, gate: Gate<'_>) -> Moved {
    let Some(port) = port else {
        return std::future::pending().await;
    };
    poll_fn(|cx| {
        if let Poll::Ready(read) = poll_read(port, cx) {
            return Poll::Ready(read);
        }
        if outbox.is_empty() {
            return Poll::Pending;
        }
        port.poll_write(cx, |port| write_now(port, outbox, gate))
            .map(|written| match written {
                Ok(n) => Moved::Out(n),
                Err(error) => Moved::Lost(error.to_string()),
            })
    })
    .await
}

/// Writes as much as the port takes now and the guard lets pass; returns how many bytes went.
///
/// # Errors
/// The port's.
pub fn write_now(port: &Port, outbox: &mut Outbox, gate: Gate<'_>) -> io::Result<usize> {
    outbox.write(gate, |bytes| port.write_now(bytes))
}

fn poll_read(port: &Port, cx: &mut Context<'_>) -> Poll<Moved> {
    let mut room = [0; GULP];
    port.poll_read(cx, &mut room).map(|read| match read {
        // A hang-up reads as nothing, again and again.
        Ok(0) => Moved::Lost("the serial port hung up".into()),
        Ok(n) => Moved::In(room[..n].to_vec()),
        Err(error) => Moved::Lost(error.to_string()),
    })
}
