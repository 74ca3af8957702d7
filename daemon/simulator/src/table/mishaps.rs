//! What goes wrong by order, and the hands that set it right.

use units::Point;

use super::{FaultRefused, KNOCK_MM, Table};
use crate::faults::Moment;
use crate::harness::{FaultKind, FaultSpec, HandAct, Input, WireFault};
use crate::relays::{RelayWrong, SenseWrong};

/// A button that was struck is not freed within this: a controller that was not told has come to the
/// end of its braking by then, or the drives would carry out the rest of it (invented).
const FREED_NS: u64 = 1_000_000_000;

impl Table {
    /// The chain closes when its moment has come.
    pub(super) fn close_chain(&mut self) {
        if self.wrongs.chain_closes_at.is_some_and(|at| at <= self.now) {
            self.wrongs.chain_closes_at = None;
            self.wrongs.chain_open = false;
            self.controller.chain(self.now, false);
        }
    }

    /// Lets something go wrong at a place of the plan.
    ///
    /// # Errors
    /// [`FaultRefused`] if there is no such place.
    pub fn inject(&mut self, fault: FaultSpec) -> Result<(), FaultRefused> {
        let cuts = self.plan.cuts.len();
        let index = fault.cut.checked_sub(1);
        let place =
            index.and_then(|k| Some((self.ledger.pierce_of(k)?, self.ledger.length_of(k)?)));
        let Some((pierce, length)) = place else {
            return Err(FaultRefused(format!(
                "there is no cut {} (the plan has {cuts}); name one from 1 to {cuts}",
                fault.cut
            )));
        };
        if let Some(mm) = fault.mm
            && !(0.0..=length).contains(&mm)
        {
            return Err(FaultRefused(format!(
                "cut {} has no place at {mm} mm; its path is {length:.1} mm long",
                fault.cut
            )));
        }
        self.waiting.add(fault, pierce);
        Ok(())
    }

    /// Does with the hands what clears a fault in life; `None`: whatever is wrong now.
    pub fn remedy(&mut self, fault: Option<FaultKind>) {
        let is = |kind: FaultKind| fault.is_none_or(|f| f == kind);
        if is(FaultKind::NoArc) {
            self.source.dead = false;
        }
        if is(FaultKind::ArcStuck) && self.source.latched {
            self.source.switch_off_and_on(self.now);
        }
        let under_torch = self.on_sheet(self.controller.true_place().0);
        if let Some(rough) = &mut self.rough {
            if is(FaultKind::NoContact) {
                rough.film.cleaned(under_torch);
            }
            if is(FaultKind::ContactStuck) {
                rough.wet.wiped();
            }
            if is(FaultKind::TipOver) {
                rough.tips.cleared();
            }
            if is(FaultKind::AirLow) {
                rough.air.drained();
            }
        }
        if is(FaultKind::ContactStuck) {
            self.wrongs.bridged = false;
        }
        if is(FaultKind::NoContact) {
            self.wrongs.sense_broken = false;
        }
        if is(FaultKind::Estop) && self.wrongs.chain_open {
            let opened = self.wrongs.chain_opened_at;
            let soonest = if self.settings.estop_tells {
                opened
            } else {
                opened + FREED_NS
            };
            self.wrongs.chain_closes_at = Some(soonest.max(self.now));
            self.close_chain();
        }
        if is(FaultKind::LinkCut) {
            self.wrongs.unplugged = false;
        }
        if is(FaultKind::AirLow) {
            self.wrongs.air_low = false;
        }
        if is(FaultKind::TipOver) {
            self.wrongs.standing = None;
            self.wrongs.unseated = false;
        }
        if fault.is_none() {
            self.sense_wrong = SenseWrong::default();
            self.start_relays(RelayWrong::default(), RelayWrong::default());
        }
        self.suffer_wires();
        self.feel(self.now, None);
    }

    /// From now on this is wrong with the wires: no hand that sees to the table clears it.
    pub fn wire(&mut self, fault: WireFault) {
        self.wiring.add(fault);
        self.suffer_wires();
    }

    /// A hand works one of the panel's inputs.
    pub fn work(&mut self, input: Input, act: HandAct) {
        self.wiring.work(self.now, input, act);
        if input == Input::Estop && matches!(act, HandAct::Work | HandAct::LetGo) {
            self.wrongs.chain_open = act == HandAct::Work;
            self.controller.chain(self.now, self.wrongs.chain_open);
        }
    }

    fn suffer_wires(&mut self) {
        let welded = RelayWrong {
            welded: true,
            ..RelayWrong::default()
        };
        let (mut k1, mut k2) = self.start_wrong;
        if self.wiring.has(WireFault::K1Welded) {
            k1 = welded;
        }
        if self.wiring.has(WireFault::K2Welded) {
            k2 = welded;
        }
        self.start_relays(k1, k2);
        if self.wiring.has(WireFault::K3Stuck) {
            self.sense_wrong.stuck = Some(true);
        }
        self.source.dead |= self.wiring.has(WireFault::StartOpen);
    }

    /// What is wrong with the relay of the sensing circuit from now on, and with its mirror contact.
    pub fn sense_relay(&mut self, wrong: SenseWrong) {
        self.sense_wrong = wrong;
    }

    /// What is wrong with the relays of the start circuit from now on: K1, which the controller closes,
    /// and K2, the permit.
    pub fn start_relays(&mut self, k1: RelayWrong, k2: RelayWrong) {
        self.start_wrong = (k1, k2);
        self.k1.wrong(k1);
        self.k2.wrong(k2);
    }

    pub(super) fn go_wrong(&mut self, now: u64, before: (Point, f64)) {
        let (place, _) = self.controller.true_place();
        let sensing = self.k3.closed();
        let told = self.controller.sense_told();
        let rapid = self.controller.rapid_to();
        let moment = Moment {
            now,
            place: self.on_sheet(place),
            at_rest: place.distance(before.0) < 1e-9,
            touching: self.controller.touching(),
            met: self.controller.touching() && self.contact,
            sense_came: told != self.sense_told,
            fire: self.k1.closed(),
            arc_since: self.source.arc_since(),
            in_hand: self.ledger.in_hand(),
            rapid: rapid.map(|(to, left)| (self.on_sheet(to), left)),
        };
        self.sense_told = told;
        for spec in self.waiting.come(&moment) {
            self.happen(now, spec, place, sensing);
        }
    }

    pub(super) fn happen(&mut self, now: u64, spec: FaultSpec, place: Point, sensing: bool) {
        match spec.kind {
            FaultKind::ArcLost => self.source.lose(now),
            FaultKind::NoArc => self.source.dead = true,
            FaultKind::ArcStuck => self.source.latched = true,
            FaultKind::ContactStuck => self.wrongs.bridged = true,
            FaultKind::NoContact => self.wrongs.sense_broken = true,
            FaultKind::Estop => {
                self.wrongs.chain_open = true;
                self.wrongs.chain_opened_at = now;
                // Struck again while somebody is about to free it: he frees it that much later.
                let freed = self.wrongs.chain_closes_at.take();
                self.wrongs.chain_closes_at = freed.map(|_| now + FREED_NS);
                self.opened.estop = true;
                self.controller.chain(now, true);
            }
            FaultKind::LinkCut => {
                self.wrongs.unplugged = true;
                self.wire_in.cut();
                self.controller.wire.cut(now);
            }
            FaultKind::ControllerReset => self.controller.reset(now),
            FaultKind::AirLow => self.wrongs.air_low = true,
            FaultKind::PanelKilled => self.panel_killed = true,
            FaultKind::TipOver => {
                self.wrongs.standing = Some(place);
                self.controller.knock(KNOCK_MM.0, KNOCK_MM.1);
                let tells = sensing && !self.wrongs.bridged && !self.wrongs.sense_broken;
                if !tells || self.source.burning() {
                    // Nothing tells of it before the torch is pushed out of its seat.
                    self.wrongs.unseated = true;
                    self.opened.torch_seated = true;
                    self.source.lose(now);
                }
            }
        }
        self.feel(now, None);
    }
}
