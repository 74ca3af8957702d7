//! The log's lines, written by a thread of their own: whoever logs never waits for whoever reads the log,
//! and a log that cannot be written (a full disk, a reader that has stopped) ends nothing.

use std::io::{self, Write};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;

use tracing_subscriber::fmt::MakeWriter;

/// Lines that may wait; more are let fall.
const WAITING: usize = 1024;
/// At the end the lines that wait have so long.
const LAST_WORDS: Duration = Duration::from_millis(300);

enum Order {
    Write(Vec<u8>),
    /// Tell when everything before is written.
    Tell(SyncSender<()>),
}

/// Where the log's lines go.
#[derive(Clone, Debug)]
pub struct Lines(SyncSender<Order>);

impl Lines {
    /// Lines that a thread writes to `out`. Without a thread they are let fall.
    pub fn to(out: impl Write + Send + 'static) -> Self {
        let (to, from) = sync_channel(WAITING);
        let thread = std::thread::Builder::new().name("log".into());
        // Whoever starts without threads learns it from the guard, which needs one.
        let _ = thread.spawn(move || write(out, &from));
        Self(to)
    }

    /// Waits a moment until what was logged is written.
    pub fn settle(&self) {
        let (tell, told) = sync_channel(1);
        if self.0.try_send(Order::Tell(tell)).is_ok() {
            let _ = told.recv_timeout(LAST_WORDS);
        }
    }
}

fn write(mut out: impl Write, from: &Receiver<Order>) {
    while let Ok(order) = from.recv() {
        match order {
            // Of a log that cannot be written nobody can be told.
            Order::Write(line) => drop(out.write_all(&line)),
            Order::Tell(tell) => drop(tell.try_send(())),
        }
    }
}

impl Write for Lines {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        let _ = self.0.try_send(Order::Write(line.to_vec()));
        Ok(line.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl MakeWriter<'_> for Lines {
    type Writer = Self;

    fn make_writer(&self) -> Self {
        self.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Takes nothing until it is told to, and then fails.
    struct Stuck(std::sync::mpsc::Receiver<()>);

    impl Write for Stuck {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            let _ = self.0.recv();
            Err(io::ErrorKind::StorageFull.into())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_log_that_takes_nothing_holds_nobody_up_and_ends_nothing() {
        let (go, wait) = sync_channel(0);
        let mut lines = Lines::to(Stuck(wait));
        for _ in 0..10 * WAITING {
            lines.write_all(b"a line\n").expect("taken");
        }
        drop(go);
        lines.settle();
    }
}
