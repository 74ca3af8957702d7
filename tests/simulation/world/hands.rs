//! Hands that act on the table in the same thread.

use std::sync::{Arc, Mutex};

use control::commissioning::{Hand, Wire};
use simulator::Table;
use standclear::practice::operator::Hands;
use standclear::practice::table;
use units::Point;

/// Hands that act on the table in the same thread.
#[derive(Clone)]
pub(super) struct Near(pub(super) Arc<Mutex<Table>>);

impl Hands for Near {
    fn set_right(&mut self) {
        self.0.lock().expect("one thread").remedy(None);
    }

    fn switch_source_off_and_on(&mut self) {
        let stuck = Some(simulator::harness::FaultKind::ArcStuck);
        self.0.lock().expect("one thread").remedy(stuck);
    }

    fn new_parts(&mut self) {
        self.0.lock().expect("one thread").new_parts();
    }

    fn torch_on_sheet(&mut self) -> Option<Point> {
        Some(self.0.lock().expect("one thread").truth().torch_on_sheet)
    }

    fn try_buttons(&mut self) {
        self.0.lock().expect("one thread").try_buttons();
    }

    fn work(&mut self, wire: Wire, how: Hand) {
        let input =
            simulator::harness::Input::named(wire.name()).expect("an input of the simulated table");
        let act = table::hand_act(how);
        self.0.lock().expect("one thread").work(input, act);
    }
}
