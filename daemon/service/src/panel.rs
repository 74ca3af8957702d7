//! The handle by which screens and other askers reach the one task that owns the machine.

use std::sync::Arc;

use control::trace::Trace;
use control::{Answer, Ask, View};
use tokio::sync::{mpsc, oneshot, watch};
use units::Time;

/// A request on its way to the machine.
#[derive(Debug)]
pub struct Asked {
    /// The generation of the view that the asker saw; ignored for HOLD.
    pub generation: u64,
    /// What is asked.
    pub ask: Ask,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Answer>,
}

/// What is published after a change, and at least ten times a second.
#[derive(Clone, Debug)]
pub struct Published {
    /// Counts up by one with every publication.
    pub seq: u64,
    /// When, on the panel's clock.
    pub at: Time,
    /// The machine's view.
    pub view: View,
}

/// A handle to the machine; cheap to clone.
#[derive(Clone, Debug)]
pub struct Panel {
    asks: mpsc::Sender<Asked>,
    published: watch::Receiver<Arc<Published>>,
    screen: Arc<watch::Sender<Option<bool>>>,
    stopped: Arc<watch::Sender<Option<Arc<Trace>>>>,
}

/// The machine's task has ended.
#[derive(Clone, Copy, Debug, thiserror::Error)]
#[error("the panel is shutting down")]
pub struct Gone;

impl Panel {
    /// Joins the two ends.
    #[must_use]
    pub fn new(asks: mpsc::Sender<Asked>, published: watch::Receiver<Arc<Published>>) -> Self {
        Self {
            asks,
            published,
            screen: Arc::new(watch::Sender::new(None)),
            stopped: Arc::new(watch::Sender::new(None)),
        }
    }

    /// Asks, and waits for the answer.
    ///
    /// # Errors
    /// [`Gone`] when the service is shutting down.
    pub async fn ask(&self, generation: u64, ask: Ask) -> Result<Answer, Gone> {
        let (answer, wait) = oneshot::channel();
        let asked = Asked {
            generation,
            ask,
            answer,
        };
        self.asks.send(asked).await.map_err(|_| Gone)?;
        wait.await.map_err(|_| Gone)
    }

    /// The screen that commands is there, or not.
    pub fn screen(&self, there: bool) {
        self.screen.send_if_modified(|was| {
            let new = *was != Some(there);
            *was = Some(there);
            new
        });
    }

    /// To be told whether the screen that commands is there; `None`: none ever commanded.
    #[must_use]
    pub fn screens(&self) -> watch::Receiver<Option<bool>> {
        self.screen.subscribe()
    }

    /// The last seconds before a stop.
    pub fn tell_stopped(&self, trace: Trace) {
        self.stopped.send_replace(Some(Arc::new(trace)));
    }

    /// The last seconds before the latest stop; `None`: there was none since the panel was started.
    #[must_use]
    pub fn stopped(&self) -> Option<Arc<Trace>> {
        self.stopped.borrow().clone()
    }

    /// What was published last.
    #[must_use]
    pub fn latest(&self) -> Arc<Published> {
        self.published.borrow().clone()
    }

    /// To be told of every publication (a slow reader misses some, never the last).
    #[must_use]
    pub fn watch(&self) -> watch::Receiver<Arc<Published>> {
        self.published.clone()
    }
}
