//! Stretches of arc beside the path that is followed: how far off, or how long if it came from
//! further away than a kerf.

use super::cover::ON_PATH;

/// An entry has come to the path once it is so near, mm, or goes away from it again by so much.
const ARRIVED: f64 = 0.02;

/// An entry that leaves the path within this has crossed it, and is still on its way, mm.
const FOLLOWED: f64 = 2.0;

/// The stretch beside the path that is under way.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    worst_mm: f64,
    length_mm: f64,
}

/// What one followed path has of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stray {
    now: Option<Stretch>,
    /// The nearest that the entry under way has come, mm.
    nearest_mm: f64,
    /// An entry has come to the path: how far it has followed it since, mm.
    arriving_mm: Option<f64>,
    /// Greatest distance of the stretches that stayed within a kerf.
    within_mm: f64,
    /// Length of those that did not.
    entered_mm: f64,
}

impl Stray {
    /// The arc is first seen `off` mm beside the path; `enters`: it came from further off than a
    /// kerf.
    pub(super) fn begin(off: f64, enters: bool) -> Self {
        let worst_mm = if enters { f64::INFINITY } else { off };
        let stretch = Stretch {
            worst_mm,
            length_mm: 0.0,
        };
        let beside = enters || off > ON_PATH;
        Self {
            now: beside.then_some(stretch),
            nearest_mm: off,
            arriving_mm: None,
            within_mm: if beside { 0.0 } else { off },
            entered_mm: 0.0,
        }
    }

    /// The arc has moved and is now `off` mm beside the path. Whether it is on it.
    pub(super) fn follow(&mut self, off: f64, moved: f64, kerf_mm: f64) -> bool {
        let comes = self.is_entry(kerf_mm) && off > ARRIVED && off < self.nearest_mm + ARRIVED;
        self.nearest_mm = if comes { self.nearest_mm.min(off) } else { off };
        if off <= ON_PATH && !comes {
            self.end(kerf_mm);
            self.on_path(off, moved);
            return true;
        }
        let crossed = self.arriving_mm.take().is_some();
        let stretch = self.now.get_or_insert(Stretch {
            worst_mm: if crossed { f64::INFINITY } else { 0.0 },
            length_mm: 0.0,
        });
        stretch.worst_mm = stretch.worst_mm.max(off);
        stretch.length_mm += moved;
        false
    }

    fn on_path(&mut self, off: f64, moved: f64) {
        match &mut self.arriving_mm {
            Some(followed) if *followed < FOLLOWED => *followed += moved,
            _ => {
                self.arriving_mm = None;
                self.within_mm = self.within_mm.max(off);
            }
        }
    }

    /// Beside the path now, and further than a kerf at its worst.
    pub(super) fn is_entry(&self, kerf_mm: f64) -> bool {
        self.now.is_some_and(|s| s.worst_mm > kerf_mm)
    }

    pub(super) fn end(&mut self, kerf_mm: f64) {
        let entry = self.is_entry(kerf_mm);
        if let Some(stretch) = self.now.take() {
            if entry {
                self.entered_mm += stretch.length_mm;
                self.arriving_mm = Some(0.0);
            } else {
                self.within_mm = self.within_mm.max(stretch.worst_mm);
            }
        }
    }

    /// Greatest distance within a kerf, and length of what was further off, since last asked.
    pub(super) fn take(&mut self) -> (f64, f64) {
        let told = (self.within_mm, self.entered_mm);
        (self.within_mm, self.entered_mm) = (0.0, 0.0);
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KERF: f64 = 1.45;

    fn led(mut stray: Stray, offs: &[f64]) -> (f64, f64) {
        for off in offs {
            stray.follow(*off, 0.5, KERF);
        }
        stray.end(KERF);
        stray.take()
    }

    #[test]
    fn beside_the_path_within_a_kerf_counts_as_far_as_it_went() {
        let on = Stray::begin(0.0, false);
        assert_eq!(led(on, &[0.0, 0.2, 0.0]), (0.2, 0.0));
        assert_eq!(led(on, &[0.1, 0.8, 1.4, 0.5, 0.0]), (1.4, 0.0));
        assert_eq!(led(Stray::begin(1.2, false), &[]), (1.2, 0.0));
    }

    #[test]
    fn a_way_in_from_further_off_counts_with_its_length_alone() {
        let in_from = Stray::begin(2.6, false);
        assert_eq!(led(in_from, &[2.0, 1.0, 0.2, 0.1, 0.0, 0.0]), (0.0, 2.0));
        let found = Stray::begin(0.25, true);
        assert_eq!(led(found, &[0.2, 0.1, 0.0, 0.0]), (0.0, 1.0));
        let then_beside = [0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.0];
        assert_eq!(led(in_from, &then_beside), (0.1, 0.0));
    }

    #[test]
    fn a_way_in_that_crosses_a_path_is_still_on_its_way() {
        let in_from = Stray::begin(2.6, false);
        let offs = [1.0, 0.1, 0.1, 0.28, 0.8, 0.4, 0.0, 0.0, 0.0];
        assert_eq!(led(in_from, &offs).0, 0.0);
    }

    #[test]
    fn leaving_the_path_by_more_than_a_kerf_is_no_distance_either() {
        let on = Stray::begin(0.0, false);
        assert_eq!(led(on, &[0.0, 1.0, 2.0, 3.0]), (0.0, 1.5));
    }
}
