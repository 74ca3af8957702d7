//! A set of stretches along a path.

/// Stretches that do not touch, in order, mm.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Spans(Vec<(f64, f64)>);

/// Stretches closer than this are one, mm.
const JOIN: f64 = 1e-6;

impl Spans {
    /// Puts a stretch in, and gives how much of it was in already, mm.
    pub(super) fn add(&mut self, from: f64, to: f64) -> f64 {
        if to <= from {
            return 0.0;
        }
        let first = self.0.partition_point(|s| s.1 < from - JOIN);
        let (mut low, mut high, mut known) = (from, to, 0.0);
        let mut last = first;
        while let Some(&(a, b)) = self.0.get(last) {
            if a > to + JOIN {
                break;
            }
            known += (b.min(to) - a.max(from)).max(0.0);
            low = low.min(a);
            high = high.max(b);
            last += 1;
        }
        self.0.splice(first..last, [(low, high)]);
        known
    }

    pub(super) fn total(&self) -> f64 {
        self.0.iter().map(|s| s.1 - s.0).sum()
    }

    /// How much of a stretch is in, mm.
    pub(super) fn within(&self, from: f64, to: f64) -> f64 {
        let of = |s: &(f64, f64)| (s.1.min(to) - s.0.max(from)).max(0.0);
        self.0.iter().map(of).sum()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The end of the last stretch; 0: there is none.
    pub(super) fn furthest(&self) -> f64 {
        self.0.last().map_or(0.0, |span| span.1)
    }

    /// From `s` on, the first place that is not in.
    pub(super) fn free_from(&self, s: f64) -> f64 {
        let index = self.0.partition_point(|span| span.1 <= s + JOIN);
        match self.0.get(index) {
            Some(&(a, b)) if a <= s + JOIN => b,
            _ => s,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_join_and_tell_what_was_known() {
        let mut spans = Spans::default();
        assert_eq!(spans.add(0.0, 10.0), 0.0);
        assert_eq!(spans.add(20.0, 30.0), 0.0);
        assert_eq!(spans.add(10.0, 12.0), 0.0);
        assert_eq!(spans.add(11.0, 21.0), 2.0);
        assert_eq!(spans.total(), 30.0);
        assert_eq!(spans.free_from(5.0), 30.0);
        assert_eq!(spans.free_from(40.0), 40.0);
    }
}
