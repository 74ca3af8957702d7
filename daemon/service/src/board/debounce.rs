//! A level is believed once it has stood for a while.

use std::time::Duration;

use units::Time;

/// One input's debounce.
#[derive(Clone, Debug)]
pub struct Debounce {
    span: Duration,
    /// What is believed; `None`: nothing was read yet.
    believed: Option<bool>,
    /// The other level has been seen since then.
    differs_since: Option<Time>,
    /// Levels that came and went before they were believed.
    short: u32,
}

impl Debounce {
    /// Levels are believed after `span`; at once if that is nothing.
    #[must_use]
    pub fn new(span: Duration) -> Self {
        Self {
            span,
            believed: None,
            differs_since: None,
            short: 0,
        }
    }

    /// Takes a level read at `now`; what is believed then. The first level ever is believed: there
    /// is nothing else to go by.
    pub fn take(&mut self, now: Time, level: bool) -> bool {
        let believed = *self.believed.get_or_insert(level);
        if level == believed {
            self.short += u32::from(self.differs_since.take().is_some());
            return believed;
        }
        let since = *self.differs_since.get_or_insert(now);
        if now.since(since) < self.span {
            return believed;
        }
        self.believed = Some(level);
        self.differs_since = None;
        level
    }

    /// Levels that came and went too soon since this was last asked.
    pub fn take_short(&mut self) -> u32 {
        core::mem::take(&mut self.short)
    }

    /// When the level seen last will be believed if it stays.
    #[must_use]
    pub fn settles(&self) -> Option<Time> {
        self.differs_since.map(|since| since + self.span)
    }
}
