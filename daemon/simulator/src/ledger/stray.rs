//! Arc beside the path that is followed: how far off, within a kerf; and how long, further off or
//! on the way in from there.

/// Beside the path by more than this, no station is passed, mm.
pub(super) const ON_PATH: f64 = 0.3;
/// A way in has come to the path once it is so near, mm, or goes away from it again by so much.
const ARRIVED: f64 = 0.02;
/// A way in that leaves the path within this has crossed it, and is still on its way, mm.
const FOLLOWED: f64 = 2.0;

/// The arc was struck further off than a kerf and is on its way in.
#[derive(Clone, Copy, Debug)]
struct Entering {
    nearest_mm: f64,
    /// How far it has followed the path since it came to it.
    followed_mm: f64,
}

/// What one followed path has of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stray {
    entering: Option<Entering>,
    /// Greatest distance that was no more than a kerf.
    within_mm: f64,
    /// Way further off, and on the way in.
    entered_mm: f64,
}

impl Stray {
    /// The arc is first seen `off` mm beside the path; `enters`: it was on its way in before.
    pub(super) fn begin(off: f64, enters: bool, kerf_mm: f64) -> Self {
        let entering = (enters || off > kerf_mm).then_some(Entering {
            nearest_mm: off,
            followed_mm: 0.0,
        });
        Self {
            within_mm: if entering.is_some() { 0.0 } else { off },
            entering,
            entered_mm: 0.0,
        }
    }

    /// The arc has moved and is now `off` mm beside the path. Whether it is on it.
    pub(super) fn follow(&mut self, off: f64, moved: f64, kerf_mm: f64) -> bool {
        let Some(way) = &mut self.entering else {
            if off <= kerf_mm {
                self.within_mm = self.within_mm.max(off);
            } else {
                self.entered_mm += moved;
            }
            return off <= ON_PATH;
        };
        let comes = way.followed_mm == 0.0 && off > ARRIVED && off < way.nearest_mm + ARRIVED;
        if off > ON_PATH || comes {
            let nearest_mm = if comes { way.nearest_mm.min(off) } else { off };
            *way = Entering {
                nearest_mm,
                followed_mm: 0.0,
            };
            self.entered_mm += moved;
            return false;
        }
        way.followed_mm += moved;
        if way.followed_mm >= FOLLOWED {
            self.entering = None;
        }
        true
    }

    pub(super) fn enters(&self) -> bool {
        self.entering.is_some()
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
        stray.take()
    }

    fn begin(off: f64) -> Stray {
        Stray::begin(off, false, KERF)
    }

    #[test]
    fn beside_the_path_within_a_kerf_counts_as_far_as_it_went() {
        assert_eq!(led(begin(0.0), &[0.0, 0.2, 0.0]), (0.2, 0.0));
        assert_eq!(led(begin(0.0), &[0.1, 0.8, 1.4, 0.5, 0.0]), (1.4, 0.0));
        assert_eq!(led(begin(1.2), &[]), (1.2, 0.0));
    }

    #[test]
    fn a_way_in_from_further_off_counts_with_its_length_alone() {
        let offs = [2.0, 1.0, 0.2, 0.1, 0.0, 0.0];
        assert_eq!(led(begin(2.6), &offs), (0.0, 2.0));
        let found = Stray::begin(0.25, true, KERF);
        assert_eq!(led(found, &[0.2, 0.1, 0.0, 0.0]), (0.0, 1.0));
        let then_beside = [0.0, 0.0, 0.0, 0.0, 0.0, 0.1, 0.0];
        assert_eq!(led(begin(2.6), &then_beside), (0.1, 0.0));
    }

    #[test]
    fn a_way_in_that_crosses_a_path_is_still_on_its_way() {
        let offs = [1.0, 0.1, 0.1, 0.28, 0.8, 0.4, 0.0, 0.0, 0.0];
        assert_eq!(led(begin(2.6), &offs).0, 0.0);
    }

    #[test]
    fn leaving_the_path_counts_as_far_as_a_kerf_and_as_a_way_beyond() {
        assert_eq!(led(begin(0.0), &[0.0, 1.0, 2.0, 3.0]), (1.0, 1.0));
    }
}
