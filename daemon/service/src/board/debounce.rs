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
    /// ... and that is the moment of its edge, not of the look that found it so.
    by_edge: bool,
    /// When what is believed began to be, where its edge told it.
    since: Option<Time>,
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
            by_edge: false,
            since: None,
            short: 0,
        }
    }

    /// Takes a level read at `now`; what is believed then. The first level ever is believed: there
    /// is nothing else to go by.
    pub fn take(&mut self, now: Time, level: bool) -> bool {
        let believed = *self.believed.get_or_insert(level);
        if level == believed {
            self.came_back();
            return believed;
        }
        let since = *self.differs_since.get_or_insert_with(|| {
            self.by_edge = false;
            now
        });
        if now.since(since) < self.span {
            return believed;
        }
        self.believed = Some(level);
        self.differs_since = None;
        self.since = self.by_edge.then_some(since + self.span);
        level
    }

    /// Takes an edge that the kernel has seen at `at`; `None`: its moment is not known, it was found at
    /// `now`. It changes nothing that is believed: the next level read does, and from this moment on.
    pub fn edge(&mut self, now: Time, at: Option<Time>, level: bool) {
        let Some(believed) = self.believed else {
            return;
        };
        if level == believed {
            self.came_back();
        } else {
            self.differs_since.get_or_insert_with(|| {
                self.by_edge = at.is_some();
                at.unwrap_or(now)
            });
        }
    }

    /// Edges were lost: when the level that stands now began to is not known.
    pub fn forget(&mut self) {
        self.differs_since = None;
    }

    fn came_back(&mut self) {
        // Without a debounce an edge is no noise.
        let short = self.differs_since.take().is_some() && !self.span.is_zero();
        self.short += u32::from(short);
    }

    /// What is believed; `None`: nothing was read yet.
    #[must_use]
    pub fn believed(&self) -> Option<bool> {
        self.believed
    }

    /// When what is believed began to be, its debounce over; `None`: no edge told it. The look that found
    /// it so may have come late, and says nothing of the moment.
    #[must_use]
    pub fn since(&self) -> Option<Time> {
        self.since
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
