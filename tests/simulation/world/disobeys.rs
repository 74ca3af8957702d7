//! What does not obey: contacts that stick, mirrors that lie, buttons that somebody strikes.

use std::time::Duration;

use simulator::harness::OpenedBriefly;
use simulator::{RelayWrong, SenseWrong};
use units::Time;

use super::World;

/// What happens at a moment of its own, whatever the job is at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Disobeys {
    /// K1 or K2 welds, or opens so much later.
    Weld {
        k2: bool,
    },
    Slow {
        k2: bool,
        ms: u64,
    },
    /// A mirror of K1, K2 or K3 stays as it says.
    Mirror {
        of: u8,
        closed: bool,
    },
    /// The emergency stop is struck.
    Stop,
    /// The hold button is kept pressed for so long.
    Button {
        ms: u64,
    },
    /// Noise: edges that are too short to count.
    Edges,
}

impl Disobeys {
    /// What is wrong with the table itself: one at a time.
    pub const HARD: [Self; 10] = [
        Self::Weld { k2: false },
        Self::Weld { k2: true },
        Self::Slow { k2: false, ms: 30 },
        Self::Slow { k2: true, ms: 30 },
        Self::Mirror {
            of: 1,
            closed: true,
        },
        Self::Mirror {
            of: 1,
            closed: false,
        },
        Self::Mirror {
            of: 2,
            closed: true,
        },
        Self::Mirror {
            of: 2,
            closed: false,
        },
        Self::Mirror {
            of: 3,
            closed: true,
        },
        Self::Mirror {
            of: 3,
            closed: false,
        },
    ];
}

impl World {
    /// What was to happen by now happens.
    pub(super) fn disobey(&mut self) {
        while self.disobeys.first().is_some_and(|d| d.0 <= self.now) {
            let (_, what) = self.disobeys.remove(0);
            self.happen(what);
        }
        if self.button_until.is_some_and(|t| t <= self.now) {
            self.button_until = None;
            self.with_table(|t| t.press_hold(false));
        }
    }

    /// When something of it happens next.
    pub(super) fn disobeys_at(&self) -> Option<Time> {
        let next = self.disobeys.first().map(|d| d.0);
        [next, self.button_until].into_iter().flatten().min()
    }

    fn happen(&mut self, what: Disobeys) {
        let of = |k2: bool, wrong: RelayWrong| {
            let sound = RelayWrong::default();
            if k2 { (sound, wrong) } else { (wrong, sound) }
        };
        let relays = match what {
            Disobeys::Weld { k2 } => of(
                k2,
                RelayWrong {
                    welded: true,
                    ..RelayWrong::default()
                },
            ),
            Disobeys::Slow { k2, ms } => of(
                k2,
                RelayWrong {
                    slow_ms: ms,
                    ..RelayWrong::default()
                },
            ),
            Disobeys::Mirror { of: 3, closed } => {
                let wrong = SenseWrong {
                    mirror: Some(!closed),
                    ..SenseWrong::default()
                };
                return self.with_table(|t| t.sense_relay(wrong));
            }
            Disobeys::Mirror { of: k, closed } => of(
                k == 2,
                RelayWrong {
                    mirror: Some(closed),
                    ..RelayWrong::default()
                },
            ),
            Disobeys::Stop => return self.with_table(simulator::Table::strike_stop),
            Disobeys::Button { ms } => {
                self.button_until = Some(self.now + Duration::from_millis(ms));
                return self.with_table(|t| t.press_hold(true));
            }
            Disobeys::Edges => {
                let noise = OpenedBriefly {
                    short_edges: 40,
                    ..OpenedBriefly::default()
                };
                return self.with_table(|t| t.open_briefly(noise));
            }
        };
        self.k1_lies |= relays.0 != RelayWrong::default();
        self.with_table(|t| t.start_relays(relays.0, relays.1));
    }
}
