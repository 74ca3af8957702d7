//! The place of an input's edge, caught as it happens and told several times: a line that is spoilt
//! on the way is not asked for again.

use std::collections::VecDeque;

use super::{Controller, MS};

/// Each edge is told so often.
const TIMES: u8 = 3;
/// Time from one telling to the next.
const AGAIN_NS: u64 = 20 * MS;
/// So many edges wait to be told again; of a contact that chatters faster the oldest are dropped.
const WAITING: usize = 8;

#[derive(Clone, Debug)]
struct Edge {
    body: String,
    due: u64,
    left: u8,
}

/// The input that arc OK is wired to, and what of it is still to be told.
#[derive(Clone, Debug, Default)]
pub(super) struct Stamps {
    arc_ok: bool,
    /// Edges caught since the start.
    count: u32,
    edges: VecDeque<Edge>,
}

impl Stamps {
    /// After a start the count begins anew; the level at the input is what it is.
    pub(super) fn after_start(&self) -> Self {
        Self {
            arc_ok: self.arc_ok,
            ..Self::default()
        }
    }

    pub(super) fn next(&self) -> Option<u64> {
        self.edges.iter().map(|e| e.due).min()
    }
}

impl Controller {
    /// The level of arc OK at the controller's own input.
    pub(crate) fn arc_ok(&mut self, now: u64, level: bool) {
        if level == self.stamps.arc_ok {
            return;
        }
        self.stamps.arc_ok = level;
        if self.dead_until.is_some() || !self.tells_by_itself() {
            return;
        }
        self.stamps.count += 1;
        let [x, y, _] = self.at.map(|v| if v.abs() < 5e-4 { 0.0 } else { v });
        let body = format!(
            "edge {} arc {} x{x:.3} y{y:.3} u{}",
            self.stamps.count,
            u8::from(level),
            (now - self.up_since) / MS,
        );
        if self.stamps.edges.len() == WAITING {
            self.stamps.edges.pop_front();
        }
        self.stamps.edges.push_back(Edge {
            body,
            due: now,
            left: TIMES,
        });
        self.say_stamps(now);
    }

    /// Tells what is due.
    pub(super) fn say_stamps(&mut self, now: u64) {
        if self.stamps.edges.is_empty() {
            return;
        }
        let mut edges = core::mem::take(&mut self.stamps.edges);
        for edge in edges.iter_mut().filter(|e| e.due <= now) {
            self.say(now, &edge.body);
            edge.left -= 1;
            edge.due = now + AGAIN_NS;
        }
        edges.retain(|e| e.left > 0);
        self.stamps.edges = edges;
    }
}
