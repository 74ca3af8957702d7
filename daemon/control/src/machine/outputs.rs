//! What the beacon, the sounder and the extraction are to be, at every step.
//!
//! | output | on |
//! |---|---|
//! | beacon | START would be taken; a run, a dry fire or a permit test is under way, to its rest; fire or arc is seen; the arc's or the fire's latch stands |
//! | sounder | the greatest alarm that was not seen, in its pattern; one note where a run waits for the operator |
//! | extraction | as the beacon, and from the last arc for the set time; from the start of a panel over a run that it did not see end |
//!
//! A hold that the operator asked for is no alarm and sounds nothing. *Seen* silences, and nothing else. A lamp
//! test makes all of them be tried, at rest alone; it ends by itself, and at once when there is something to say.
//!
//! If the power goes all of it is dark and silent; nothing here is known afterwards.

use std::collections::BTreeSet;

use units::Time;

use super::{Act, Machine};
use crate::cause::{AlarmLevel, Cause};
use crate::event::{Event, Outcome};
use crate::guard;
use crate::machine::admission;
use crate::outputs::{Output, OutputLevels, TEST, Tone, tested};
use crate::view::{OutputsView, Phase};

/// What was told, and what the next levels hang on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Outputs {
    told: OutputLevels,
    /// The torch may fire.
    lit: bool,
    /// Fire or arc was last seen then.
    burnt: Option<Time>,
    /// What is being said by sound, and since when.
    sounding: Option<(Tone, Time)>,
    /// The alarms of that level for which its notes have begun.
    sounded: BTreeSet<Cause>,
    /// It was the operator's move already.
    your_move: bool,
    /// A lamp test has been under way since then.
    testing: Option<Time>,
    failing: BTreeSet<Output>,
}

impl Outputs {
    /// A lamp test is under way.
    pub(crate) fn testing(&self) -> bool {
        self.testing.is_some()
    }
}

impl Machine {
    /// Reckons what the outputs are to be, and tells what has changed.
    pub(super) fn watch_outputs(&mut self) {
        let fitted = self.settings.outputs;
        if !fitted.any() {
            return;
        }
        let burns = self.signals_heard && (self.signals.arc_ok || self.signals.fire_on);
        if burns {
            self.outputs.burnt = Some(self.now);
        }
        self.outputs.lit = burns || self.torch_may_fire();
        let after = core::time::Duration::from_secs_f64(fitted.extraction_after_s);
        let fume = self.outputs.burnt.is_some_and(|t| !self.due(t + after));
        let tone = self.sound();
        let trying = self.try_lamps(tone.is_some());
        let levels = OutputLevels {
            beacon: fitted.beacon && (self.outputs.lit || trying.is_some()),
            sounder: fitted.sounder && (self.sounds() || trying == Some(true)),
            extraction: fitted.extraction && (self.outputs.lit || fume || trying.is_some()),
        };
        if levels != self.outputs.told {
            self.outputs.told = levels;
            self.out.outputs(levels);
            self.out.publish();
        }
    }

    /// The permit can be given without another word of the operator than START, or is given; or what says
    /// so cannot be trusted.
    fn torch_may_fire(&self) -> bool {
        let stuck = [Cause::ArcStuck, Cause::UnaskedFire];
        match &self.act {
            Act::Cutting(_) | Act::DryFire(_) | Act::Testing { .. } => return true,
            // What was begun is not over before it rests.
            Act::Stopping(_) | Act::Parking(_) if self.outputs.lit => return true,
            _ => {}
        }
        self.guard.phase != guard::Phase::Off
            || self.fingerprint.phase() == Some(Phase::Ready)
            || stuck.iter().any(|c| self.alarms.is_latched(*c))
    }

    /// What is to be said by sound: the greatest alarm that was not seen. A new one of the same level begins
    /// anew, once the notes in hand have sounded.
    fn sound(&mut self) -> Option<Tone> {
        let unseen = |level: AlarmLevel| -> BTreeSet<Cause> {
            let all = self
                .alarms
                .iter()
                .filter(|a| !a.seen && a.cause != Cause::Hold);
            all.filter(|a| a.cause.facts().level == level)
                .map(|a| a.cause)
                .collect()
        };
        let (danger, stopped) = (unseen(AlarmLevel::Danger), unseen(AlarmLevel::JobStopped));
        let tone = match (danger.is_empty(), stopped.is_empty()) {
            (false, _) => Some(Tone::Danger),
            (true, false) => Some(Tone::JobStopped),
            (true, true) => None,
        };
        let moved = self.is_your_move();
        let turned = moved && !self.outputs.your_move;
        let now = self.now;
        let outputs = &mut self.outputs;
        outputs.your_move = moved;
        match tone {
            Some(tone) => {
                let causes = if tone == Tone::Danger {
                    danger
                } else {
                    stopped
                };
                outputs.sounded.retain(|c| causes.contains(c));
                let begins = match outputs.sounding {
                    Some((of, since)) if of == tone => {
                        !causes.is_subset(&outputs.sounded) && tone.group_over(now.since(since))
                    }
                    _ => true,
                };
                if begins {
                    outputs.sounding = Some((tone, now));
                    outputs.sounded = causes;
                }
            }
            None => {
                outputs.sounded.clear();
                outputs.sounding = outputs
                    .sounding
                    .filter(|(of, _)| *of == Tone::YourMove && moved);
                if turned {
                    outputs.sounding = Some((Tone::YourMove, now));
                }
            }
        }
        tone
    }

    /// A run has come to rest by itself and waits for the operator. What he asked for himself is no news.
    fn is_your_move(&self) -> bool {
        let Some(run) = self.run.as_ref().filter(|_| matches!(self.act, Act::Rest)) else {
            return false;
        };
        match (&run.ended, &run.held) {
            (Some((_, outcome)), _) => *outcome == Outcome::Finished,
            (None, Some(held)) if held.cause.is_planned() => admission::causes_gone(self).is_ok(),
            (None, Some(held)) => held.cause != Cause::Hold,
            (None, None) => false,
        }
    }

    /// Whether a note sounds now; asks for a step when that changes.
    fn sounds(&mut self) -> bool {
        let Some((tone, since)) = self.outputs.sounding else {
            return false;
        };
        let (on, next) = tone.at(self.now.since(since));
        if let Some(next) = next {
            self.due(since + next);
        }
        on
    }

    /// The lamp test: whether it sounds now; `None`: there is none.
    fn try_lamps(&mut self, alarm: bool) -> Option<bool> {
        let since = self.outputs.testing?;
        if alarm || !matches!(self.act, Act::Rest) || self.due(since + TEST) {
            self.outputs.testing = None;
            self.out.publish();
            return None;
        }
        let (on, next) = tested(self.now.since(since));
        if let Some(next) = next {
            self.due(since + next);
        }
        Some(on)
    }

    /// All outputs are tried.
    pub(super) fn begin_lamp_test(&mut self) {
        self.outputs.testing = Some(self.now);
        self.record(Event::LampsTested, false);
    }

    /// Something is to be said by sound that nobody has seen.
    pub(crate) fn sounds_alarm(&self) -> bool {
        self.alarms.iter().any(|a| {
            !a.seen && a.cause != Cause::Hold && a.cause.facts().level > AlarmLevel::Notice
        })
    }

    /// The arc may have burnt until the panel that was before this one ended.
    pub(super) fn fume_of_before(&mut self) {
        if self.interrupted.is_some() {
            self.outputs.burnt = Some(self.now);
        }
    }

    /// An output could not be driven, or can again. It is told, and stops nothing.
    pub(super) fn output_failed(&mut self, output: Output, why: Option<String>) {
        match why {
            Some(why) => {
                if self.outputs.failing.insert(output) {
                    self.record(Event::OutputFailed { output, why }, false);
                }
            }
            None => {
                if self.outputs.failing.remove(&output) {
                    self.record(Event::OutputWorks { output }, false);
                }
            }
        }
        self.out.publish();
    }

    pub(super) fn outputs_view(&self) -> Option<OutputsView> {
        let (fitted, told) = (self.settings.outputs, self.outputs.told);
        let said = |output| fitted.has(output).then(|| told.of(output));
        fitted.any().then(|| OutputsView {
            beacon: said(Output::Beacon),
            extraction: said(Output::Extraction),
            sounder: fitted.sounder,
            sounds: self.outputs.sounding.map(|(tone, _)| tone),
            testing: self.outputs.testing(),
            failing: self.outputs.failing.iter().copied().collect(),
        })
    }
}
