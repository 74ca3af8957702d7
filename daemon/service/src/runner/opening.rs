//! Opening the serial port without waiting for it: a driver may take seconds, or never answer.
//!
//! It is opened by a thread of its own, one at a time. Whoever asked is answered within
//! [`ANSWER`], if only with the news that there is no answer; the thread is left to itself then,
//! and when the port is asked for again that same thread is waited for.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::oneshot;
use tokio::time::Instant;

use crate::port::Opened;

/// Opens the port; may block.
pub type Opener = Arc<dyn Fn() -> Result<Opened, String> + Send + Sync>;

/// A port that has not opened by then is told as one that does not.
pub const ANSWER: Duration = Duration::from_secs(5);

/// The opening of the port.
pub struct Opening {
    opener: Opener,
    answer: Duration,
    /// What the thread will say, if one is at it.
    thread: Option<oneshot::Receiver<Result<Opened, String>>>,
    /// Somebody waits for the answer, until then.
    wanted: Option<Instant>,
}

impl Opening {
    /// Opens nothing yet.
    pub fn new(opener: Opener) -> Self {
        Self {
            opener,
            answer: ANSWER,
            thread: None,
            wanted: None,
        }
    }

    /// Begins to open, or goes on with what was begun.
    pub fn begin(&mut self) {
        self.wanted = Some(Instant::now() + self.answer);
        // What opened when nobody wanted it any more may have heard things since: it is closed below.
        if let Some(thread) = &mut self.thread
            && let Err(oneshot::error::TryRecvError::Empty) = thread.try_recv()
        {
            return;
        }
        let (tell, told) = oneshot::channel();
        let opener = Arc::clone(&self.opener);
        let thread = std::thread::Builder::new()
            .name("opening".into())
            .spawn(move || {
                // Nobody waits any more: the port is closed again by being let fall.
                let _ = tell.send(opener());
            });
        if let Err(error) = thread {
            tracing::error!(%error, "no thread to open the port with");
        }
        // Without a thread the sender is gone, which is told as the answer.
        self.thread = Some(told);
    }

    /// Nobody wants it any more: a port that still opens is closed at once.
    pub fn give_up(&mut self) {
        self.wanted = None;
    }

    /// Somebody waits for an answer.
    pub fn is_under_way(&self) -> bool {
        self.wanted.is_some()
    }

    /// The answer to what was begun; never, if nobody waits. Nothing is lost if it is given up.
    pub async fn done(&mut self) -> Result<Opened, String> {
        let Some(until) = self.wanted else {
            return std::future::pending().await;
        };
        let answer = match &mut self.thread {
            Some(thread) => tokio::time::timeout_at(until, thread).await,
            None => return std::future::pending().await,
        };
        self.wanted = None;
        match answer {
            Ok(told) => {
                self.thread = None;
                told.unwrap_or_else(|_| Err("the port could not be opened: no thread".into()))
            }
            Err(_) => Err(format!(
                "the port does not open: its driver has not answered for {} s",
                self.answer.as_secs_f64()
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::sync::mpsc;

    use super::*;

    /// An opener that answers when it is told to, and counts its calls.
    fn slow() -> (Opening, mpsc::Sender<()>, Arc<AtomicUsize>) {
        let (go, wait) = mpsc::channel();
        let (wait, calls) = (Mutex::new(wait), Arc::new(AtomicUsize::new(0)));
        let count = Arc::clone(&calls);
        let opener: Opener = Arc::new(move || {
            count.fetch_add(1, Ordering::SeqCst);
            let _ = wait.lock().map(|w| w.recv());
            Err("no such port".into())
        });
        (Opening::new(opener), go, calls)
    }

    #[tokio::test]
    async fn a_driver_that_never_answers_is_told_in_time_and_asked_once() {
        let (mut opening, go, calls) = slow();
        opening.answer = Duration::from_millis(20);
        for _ in 0..3 {
            opening.begin();
            let says = opening.done().await.err().expect("it does not open");
            assert!(says.contains("not answered for 0.02 s"), "{says}");
            assert!(!opening.is_under_way());
        }
        opening.answer = ANSWER;
        opening.begin();
        go.send(()).expect("it waits");
        let says = opening.done().await.err().expect("it does not open");
        assert_eq!(says, "no such port");
        assert_eq!(calls.load(Ordering::SeqCst), 1);
    }

    #[tokio::test]
    async fn what_nobody_wants_any_more_is_not_told() {
        let (mut opening, go, _) = slow();
        opening.begin();
        opening.give_up();
        go.send(()).expect("it waits");
        tokio::select! {
            biased;
            _ = opening.done() => panic!("nobody asked"),
            () = tokio::task::yield_now() => {}
        }
    }
}
