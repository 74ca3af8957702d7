//! Since when the inputs say what they say. Kept by [`Since::look`] alone, at every look of the guard.

use units::Time;

use crate::signals::Signals;

/// What an arc has at least and at most, V (process handbook, invented).
const ARC_VOLTS: (f64, f64) = (50.0, 200.0);

/// A contact that was seen to do both since switch-on: what it is for, and come back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Proof {
    acted: bool,
    came_back: bool,
}

impl Proof {
    /// It was seen to work.
    pub(crate) fn works(self) -> bool {
        self.came_back
    }

    /// `acts`: pressed, or the chain open.
    fn see(&mut self, acts: bool) {
        self.acted |= acts;
        self.came_back |= self.acted && !acts;
    }
}

/// Since when each input says what it says; `None`: it does not say so now.
#[derive(Clone, Debug, Default)]
pub(crate) struct Since {
    /// The ohmic contact is closed.
    pub contact_closed: Option<Time>,
    /// The contact was last seen open with the torch up then.
    pub contact_open_at: Option<Time>,
    /// The air switch says good.
    pub air_good: Option<Time>,
    /// The air switch says low.
    pub air_bad: Option<Time>,
    /// The source's own contact was last seen open then.
    pub source_open_at: Option<Time>,
    /// The source's own contact says what it says.
    pub source: Option<Time>,
    /// Volts are below what an arc has.
    pub volts_low: Option<Time>,
    /// Volts are above what an arc has.
    pub volts_high: Option<Time>,
    /// Volts are what an arc has.
    pub volts_of_arc: Option<Time>,
    /// The wired hold button, seen to close and open since switch-on.
    pub button: Proof,
    /// The emergency stop chain, seen to open and close since switch-on.
    pub chain: Proof,
}

impl Since {
    /// A look at the inputs. `before`: the look before it, if there was one; `torch_up`: the torch is
    /// surely above the sheet.
    pub(super) fn look(
        &mut self,
        now: Time,
        before: Option<&Signals>,
        signals: &Signals,
        torch_up: bool,
    ) {
        let since = |was: &mut Option<Time>, so: bool| *was = so.then(|| was.unwrap_or(now));
        since(&mut self.contact_closed, signals.contact);
        let low = signals.volts.is_some_and(|v| v < ARC_VOLTS.0);
        let high = signals.volts.is_some_and(|v| v > ARC_VOLTS.1);
        since(&mut self.volts_low, low);
        since(&mut self.volts_high, high);
        let of_arc = signals.volts.is_some() && !low && !high;
        since(&mut self.volts_of_arc, of_arc);
        since(&mut self.air_good, signals.air_ok == Some(true));
        since(&mut self.air_bad, signals.air_ok == Some(false));
        if signals.source_on == Some(false) {
            self.source_open_at = Some(now);
        }
        if before.is_none_or(|b| b.source_on != signals.source_on) {
            self.source = signals.source_on.is_some().then_some(now);
        }
        // What could not be read shows nothing.
        if !signals.unreadable {
            self.chain.see(signals.estop_open);
            if let Some(pressed) = signals.hold_button {
                self.button.see(pressed);
            }
            if !signals.contact && torch_up {
                self.contact_open_at = Some(now);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn looks(all: &[(u64, Signals)]) -> Since {
        let mut since = Since::default();
        let mut before: Option<Signals> = None;
        for (ms, signals) in all {
            since.look(Time::from_ms(*ms), before.as_ref(), signals, true);
            before = Some(*signals);
        }
        since
    }

    fn volts(v: f64) -> Signals {
        Signals {
            volts: Some(v),
            ..Signals::default()
        }
    }

    #[test]
    fn a_level_counts_from_its_first_look_and_not_from_before_it_changed() {
        let since = looks(&[(1, volts(30.0)), (2, volts(30.0)), (3, volts(120.0))]);
        assert_eq!((since.volts_low, since.volts_high), (None, None));
        assert_eq!(since.volts_of_arc, Some(Time::from_ms(3)));
        let since = looks(&[(1, volts(120.0)), (2, volts(30.0)), (3, volts(49.9))]);
        assert_eq!(since.volts_low, Some(Time::from_ms(2)));
        assert_eq!(
            looks(&[(1, volts(200.1))]).volts_high,
            Some(Time::from_ms(1))
        );
        assert_eq!(looks(&[(1, Signals::default())]).volts_of_arc, None);
    }

    #[test]
    fn a_button_works_when_it_was_pressed_and_came_back_and_unreadable_inputs_show_nothing() {
        let button = |pressed, unreadable| Signals {
            hold_button: Some(pressed),
            unreadable,
            ..Signals::default()
        };
        let pressed_and_released = [(1, button(true, false)), (2, button(false, false))];
        assert!(looks(&pressed_and_released).button.works());
        assert!(!looks(&pressed_and_released[..1]).button.works());
        let unread = [(1, button(true, true)), (2, button(false, false))];
        assert!(!looks(&unread).button.works());
    }

    #[test]
    fn the_sources_contact_counts_from_its_change_and_its_last_opening_is_kept() {
        let source = |on| Signals {
            source_on: on,
            ..Signals::default()
        };
        let since = looks(&[
            (1, source(Some(true))),
            (2, source(Some(false))),
            (3, source(Some(false))),
            (4, source(Some(true))),
        ]);
        assert_eq!(since.source, Some(Time::from_ms(4)));
        assert_eq!(since.source_open_at, Some(Time::from_ms(3)));
        assert_eq!(looks(&[(1, source(None))]).source, None);
    }
}
