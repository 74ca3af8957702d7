//! Beacon, sounder and extraction: how what control has decided comes to their lines.
//!
//! **For**: the runner, which hands on the levels and never waits for them.
//! **Never**: on the way of the permit. The lines are requests of their own, driven by a thread of its own
//! without any priority: one that hangs or fails delays neither guard nor runner. What failed is told, and tried
//! again every second.
//! **At the start and at every end that this process lives to see**: low. **If it is killed**: as the chip's
//! driver has it (see [`crate::board`]); a resistor to ground at each line (10 kOhm, common practice, no source)
//! lets a line that nobody drives fall. A line that the driver leaves high stays high until the next start.

use std::io;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use control::{Output, OutputLevels};
use tokio::sync::mpsc;

/// Takes levels without waiting.
pub trait Outputs: Send {
    /// They are to be so from now on.
    fn set(&mut self, levels: OutputLevels);

    /// All low, and nothing more comes. Waits for that a short while at most.
    fn end(&mut self);
}

/// One output could not be driven, or can be again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutputTold {
    /// Which.
    pub output: Output,
    /// In the system's words; `None`: it can be.
    pub failed: Option<String>,
}

/// Outputs and what they tell.
pub struct OutputsEnd {
    /// Where the levels go.
    pub outputs: Box<dyn Outputs>,
    /// What failed.
    pub told: mpsc::Receiver<OutputTold>,
}

/// The lines of the outputs. A call may take long.
pub trait OutputLines: Send {
    /// Puts a level on the line of one output.
    ///
    /// # Errors
    /// The line could not be driven, in words.
    fn drive(&mut self, output: Output, on: bool) -> Result<(), String>;
}

/// What failed is tried again after this.
const AGAIN: Duration = Duration::from_secs(1);
/// Whoever ends the outputs waits so long for the lines to be low.
const ENDS_WITHIN: Duration = Duration::from_millis(200);
/// Room for what is told: three outputs, a change a second each.
const TOLD: usize = 64;

/// What the thread is to do next: the newest levels alone.
#[derive(Debug, Default)]
struct Letter {
    levels: OutputLevels,
    news: bool,
    end: bool,
    ended: bool,
}

#[derive(Debug, Default)]
struct Post {
    letter: Mutex<Letter>,
    bell: Condvar,
}

impl Post {
    fn open(&self) -> MutexGuard<'_, Letter> {
        self.letter.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

struct Driver(Arc<Post>);

/// Starts the thread that drives the lines of these outputs, which are low.
///
/// # Errors
/// The system gives no thread.
pub fn start(lines: Box<dyn OutputLines>, fitted: Vec<Output>) -> io::Result<OutputsEnd> {
    let (tell, told) = mpsc::channel(TOLD);
    let letters = Arc::new(Post::default());
    let theirs = Arc::clone(&letters);
    std::thread::Builder::new()
        .name("outputs".into())
        .spawn(move || {
            let mut driven = Driven {
                lines,
                fitted,
                levels: OutputLevels::default(),
                failing: Vec::new(),
                tell,
            };
            driven.run(&theirs);
        })?;
    Ok(OutputsEnd {
        outputs: Box::new(Driver(letters)),
        told,
    })
}

impl Outputs for Driver {
    fn set(&mut self, levels: OutputLevels) {
        let mut letter = self.0.open();
        letter.levels = levels;
        letter.news = true;
        self.0.bell.notify_all();
    }

    fn end(&mut self) {
        let mut letter = self.0.open();
        letter.levels = OutputLevels::default();
        letter.end = true;
        self.0.bell.notify_all();
        let waited = self
            .0
            .bell
            .wait_timeout_while(letter, ENDS_WITHIN, |l| !l.ended);
        if waited.is_ok_and(|(_, late)| late.timed_out()) {
            tracing::warn!("beacon, sounder and extraction could not be put low in time");
        }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let mut letter = self.0.open();
        letter.levels = OutputLevels::default();
        letter.end = true;
        self.0.bell.notify_all();
    }
}

struct Driven {
    lines: Box<dyn OutputLines>,
    fitted: Vec<Output>,
    levels: OutputLevels,
    failing: Vec<Output>,
    tell: mpsc::Sender<OutputTold>,
}

impl Driven {
    fn run(&mut self, letters: &Post) {
        loop {
            let (levels, end) = self.next(letters);
            self.drive(levels);
            if end {
                letters.open().ended = true;
                letters.bell.notify_all();
                return;
            }
        }
    }

    /// Waits for news, or until what failed is to be tried again.
    fn next(&self, letters: &Post) -> (OutputLevels, bool) {
        let waits = |l: &mut Letter| !l.news && !l.end;
        let letter = letters.open();
        let mut letter = if self.failing.is_empty() {
            letters
                .bell
                .wait_while(letter, waits)
                .unwrap_or_else(PoisonError::into_inner)
        } else {
            let waited = letters.bell.wait_timeout_while(letter, AGAIN, waits);
            waited.unwrap_or_else(PoisonError::into_inner).0
        };
        letter.news = false;
        (letter.levels, letter.end)
    }

    fn drive(&mut self, levels: OutputLevels) {
        for output in self.fitted.clone() {
            let (on, failed) = (levels.of(output), self.failing.contains(&output));
            if on == self.levels.of(output) && !failed {
                continue;
            }
            match self.lines.drive(output, on) {
                Ok(()) if failed => {
                    self.failing.retain(|o| *o != output);
                    self.told(output, None);
                }
                Err(why) if !failed => {
                    self.failing.push(output);
                    self.told(output, Some(why));
                }
                _ => {}
            }
        }
        self.levels = levels;
    }

    fn told(&self, output: Output, failed: Option<String>) {
        if let Some(why) = &failed {
            tracing::warn!(output = output.name(), why, "an output cannot be driven");
        }
        // Nobody reads any more, or a queue is full of the same: it stays in the log.
        let _ = self.tell.try_send(OutputTold { output, failed });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc as std_mpsc;

    /// Lines that tell what they are given, and fail or wait as they are ordered.
    struct Fake {
        driven: std_mpsc::Sender<(Output, bool)>,
        dead: Arc<Mutex<Option<Output>>>,
        gate: Option<std_mpsc::Receiver<()>>,
    }

    impl OutputLines for Fake {
        fn drive(&mut self, output: Output, on: bool) -> Result<(), String> {
            if let Some(gate) = &self.gate {
                let _ = gate.recv();
            }
            if *self.dead.lock().expect("not poisoned") == Some(output) {
                return Err("it has gone".into());
            }
            self.driven.send((output, on)).map_err(|e| e.to_string())
        }
    }

    const ALL: OutputLevels = OutputLevels {
        beacon: true,
        sounder: true,
        extraction: true,
    };
    const WITHIN: Duration = Duration::from_secs(5);

    #[test]
    fn each_line_is_driven_when_its_level_changes_and_low_at_the_end() {
        let (driven, seen) = std_mpsc::channel();
        let lines = Fake {
            driven,
            dead: Arc::default(),
            gate: None,
        };
        let mut end =
            start(Box::new(lines), vec![Output::Beacon, Output::Extraction]).expect("a thread");
        end.outputs.set(ALL);
        let next = || seen.recv_timeout(WITHIN);
        assert_eq!(next(), Ok((Output::Beacon, true)));
        assert_eq!(next(), Ok((Output::Extraction, true)));
        end.outputs.set(OutputLevels {
            beacon: false,
            ..ALL
        });
        assert_eq!(next(), Ok((Output::Beacon, false)));
        end.outputs.end();
        assert_eq!(
            seen.try_recv(),
            Ok((Output::Extraction, false)),
            "before the end is over"
        );
        assert!(next().is_err(), "and no more, the sounder is not fitted");
    }

    #[test]
    fn a_line_that_fails_is_told_and_tried_again_and_the_others_are_driven() {
        let (driven, seen) = std_mpsc::channel();
        let dead = Arc::new(Mutex::new(Some(Output::Beacon)));
        let lines = Fake {
            driven,
            dead: Arc::clone(&dead),
            gate: None,
        };
        let mut end = start(Box::new(lines), Output::ALL.to_vec()).expect("a thread");
        end.outputs.set(ALL);
        let told = end.told.blocking_recv().expect("it is told");
        assert_eq!(
            (told.output, told.failed.as_deref()),
            (Output::Beacon, Some("it has gone"))
        );
        assert_eq!(seen.recv_timeout(WITHIN), Ok((Output::Sounder, true)));
        assert_eq!(seen.recv_timeout(WITHIN), Ok((Output::Extraction, true)));
        *dead.lock().expect("not poisoned") = None;
        assert_eq!(
            seen.recv_timeout(WITHIN),
            Ok((Output::Beacon, true)),
            "by itself"
        );
        let told = end.told.blocking_recv().expect("it is told");
        assert_eq!((told.output, told.failed), (Output::Beacon, None));
    }

    #[test]
    fn lines_that_hang_delay_nobody_and_only_the_newest_levels_are_kept_for_them() {
        let (driven, seen) = std_mpsc::channel();
        let (open, gate) = std_mpsc::channel();
        let lines = Fake {
            driven,
            dead: Arc::default(),
            gate: Some(gate),
        };
        let mut end = start(Box::new(lines), vec![Output::Sounder]).expect("a thread");
        for k in 0..10_001 {
            end.outputs.set(OutputLevels {
                sounder: k % 2 == 0,
                ..OutputLevels::default()
            });
        }
        end.outputs.end();
        // It came here although the line hangs still.
        drop(open);
        let all: Vec<_> = seen.iter().collect();
        assert!(
            all.len() <= 2 && all.last().is_none_or(|(_, on)| !on),
            "{all:?}"
        );
    }
}
