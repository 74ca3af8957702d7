//! Collects the effects of one step and puts them in the order that matters.

use crate::ask::{Answer, AskId};
use crate::event::Event;
use crate::guard::{GuardOrder, Phase};
use crate::io::{Effect, Effects, RecordId};
use crate::outputs::OutputLevels;

/// The effects of the step in hand.
#[derive(Debug, Default)]
pub(crate) struct Out {
    off: bool,
    orders: Vec<GuardOrder>,
    take_away: Vec<u8>,
    lines: Vec<u8>,
    line: Vec<Effect>,
    answers: Vec<(AskId, Answer)>,
    records: Vec<Effect>,
    outputs: Option<OutputLevels>,
    next_record: u64,
    publish: bool,
}

impl Out {
    /// The permit is given back: that comes before everything else.
    pub(crate) fn permit_off(&mut self) {
        self.orders
            .retain(|o| !matches!(o, GuardOrder::Phase { .. }));
        self.off = true;
    }

    pub(crate) fn order(&mut self, order: GuardOrder) {
        self.orders.push(order);
    }

    pub(crate) fn take_away(&mut self, bytes: &[u8]) {
        self.take_away.extend_from_slice(bytes);
    }

    pub(crate) fn lines(&mut self, bytes: &[u8]) {
        self.lines.extend_from_slice(bytes);
    }

    pub(crate) fn open_link(&mut self) {
        self.line.push(Effect::OpenLink);
    }

    pub(crate) fn answer(&mut self, id: AskId, answer: Answer) {
        self.answers.push((id, answer));
    }

    pub(crate) fn outputs(&mut self, levels: OutputLevels) {
        self.outputs = Some(levels);
    }

    pub(crate) fn publish(&mut self) {
        self.publish = true;
    }

    /// Names the record so that its `Durable` can be waited for.
    pub(crate) fn record(&mut self, event: Event, durable: bool) -> RecordId {
        self.next_record += 1;
        let id = RecordId(self.next_record);
        self.records.push(Effect::Record { id, event, durable });
        id
    }

    pub(crate) fn take(&mut self) -> Effects {
        let mut all = Vec::with_capacity(4);
        if core::mem::take(&mut self.off) {
            all.push(Effect::Guard {
                order: GuardOrder::Phase { phase: Phase::Off },
            });
        }
        if !self.take_away.is_empty() {
            all.push(Effect::Write {
                bytes: core::mem::take(&mut self.take_away),
                take_away: true,
            });
        }
        all.extend(self.orders.drain(..).map(|order| Effect::Guard { order }));
        if !self.lines.is_empty() {
            all.push(Effect::Write {
                bytes: core::mem::take(&mut self.lines),
                take_away: false,
            });
        }
        all.append(&mut self.line);
        all.extend(
            self.answers
                .drain(..)
                .map(|(id, answer)| Effect::Answer { id, answer }),
        );
        all.append(&mut self.records);
        // What only tells comes after all that stops, moves or is kept.
        all.extend(self.outputs.take().map(|levels| Effect::Outputs { levels }));
        if core::mem::take(&mut self.publish) {
            all.push(Effect::Publish);
        }
        Effects(all)
    }
}
