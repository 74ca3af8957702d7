//! Edges that are shorter than their input's debounce, counted for each start of the torch: a rising
//! count tells of a worn screen before the first wrong level does (process handbook 3.2).

use std::collections::VecDeque;

use super::Machine;
use crate::event::Event;
use crate::view::ShortEdgesView;

/// What is usual is the mean of so many starts (ours).
const STARTS: usize = 10;
/// ... once there were so many (ours).
const LEAST_STARTS: usize = 3;
/// Rising is more than so many times the usual, and so many more (ours).
const TIMES: f64 = 2.0;
/// See [`TIMES`].
const MORE: f64 = 5.0;

/// Edges too short to count.
#[derive(Clone, Debug, Default)]
pub(crate) struct ShortEdges {
    /// Since the panel started.
    pub total: u64,
    /// When the torch was asked for.
    at_fire: Option<u64>,
    /// Of the last starts.
    starts: VecDeque<u64>,
    rising: bool,
}

impl ShortEdges {
    fn usual(&self) -> Option<f64> {
        let n = self.starts.len();
        (n >= LEAST_STARTS).then(|| self.starts.iter().sum::<u64>() as f64 / n as f64)
    }
}

impl Machine {
    /// The torch is asked for: a start begins.
    pub(super) fn start_begins(&mut self) {
        self.short_edges.at_fire = Some(self.short_edges.total);
    }

    /// The start is over: the pierce has ended, or the start was given up.
    pub(super) fn start_over(&mut self) {
        let edges = &mut self.short_edges;
        let Some(before) = edges.at_fire.take() else {
            return;
        };
        let n = edges.total.saturating_sub(before);
        let usual = edges.usual().filter(|u| n as f64 > u * TIMES + MORE);
        edges.rising = usual.is_some();
        edges.starts.push_back(n);
        if edges.starts.len() > STARTS {
            edges.starts.pop_front();
        }
        // A quiet start is no news.
        if n > 0
            && let Some(run) = &self.run
        {
            let event = Event::ShortEdges {
                run: run.id,
                cut: run.cut + 1,
                edges: n,
                usual,
            };
            self.record(event, false);
        }
    }

    pub(super) fn short_edges_view(&self) -> ShortEdgesView {
        let edges = &self.short_edges;
        ShortEdgesView {
            last: edges.starts.back().copied(),
            usual: edges.usual(),
            rising: edges.rising,
        }
    }
}
