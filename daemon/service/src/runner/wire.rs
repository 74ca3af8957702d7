//! Moving bytes through the serial port.
//!
//! All of it goes through the poll interface: the stream's `try_` calls do not take back a
//! readiness that has passed, and a task that waits for it would spin.

use std::future::poll_fn;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, Waker};

use tokio::io::{AsyncRead as _, AsyncWrite as _, ReadBuf};
use tokio_serial::SerialStream;

use super::outbox::Outbox;

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
pub async fn moved(port: Option<&mut SerialStream>, outbox: &mut Outbox) -> Moved {
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
        match write(port, cx, outbox) {
            Ok(0) => Poll::Pending,
            Ok(n) => Poll::Ready(Moved::Out(n)),
            Err(error) => Poll::Ready(Moved::Lost(error.to_string())),
        }
    })
    .await
}

/// Writes as much as the port takes now; returns how many bytes went.
///
/// # Errors
/// The port's.
pub fn write_now(port: &mut SerialStream, outbox: &mut Outbox) -> io::Result<usize> {
    // Nobody is to be woken: `moved` asks again for what is left.
    write(port, &mut Context::from_waker(Waker::noop()), outbox)
}

fn poll_read(port: &mut SerialStream, cx: &mut Context<'_>) -> Poll<Moved> {
    let mut room = [0; GULP];
    let mut buffer = ReadBuf::new(&mut room);
    match Pin::new(port).poll_read(cx, &mut buffer) {
        Poll::Pending => Poll::Pending,
        // A hang-up reads as nothing, again and again.
        Poll::Ready(Ok(())) if buffer.filled().is_empty() => {
            Poll::Ready(Moved::Lost("the serial port hung up".into()))
        }
        Poll::Ready(Ok(())) => Poll::Ready(Moved::In(buffer.filled().to_vec())),
        Poll::Ready(Err(error)) => Poll::Ready(Moved::Lost(error.to_string())),
    }
}

fn write(port: &mut SerialStream, cx: &mut Context<'_>, outbox: &mut Outbox) -> io::Result<usize> {
    outbox.write(|bytes| match Pin::new(&mut *port).poll_write(cx, bytes) {
        Poll::Ready(written) => written,
        Poll::Pending => Err(io::ErrorKind::WouldBlock.into()),
    })
}
