//! Arc volts from an analogue converter on SPI or I2C: read on a thread of its own, told with the moment
//! of each reading.
//!
//! **For**: the guard's thread, which passes the newest reading on with the levels.
//! **Never**: a reading that was not made, and none that is told as younger than it is: its moment is that
//! at which it was begun. A converter that fails, hangs or is pulled out leaves its last reading to grow
//! old, and old volts are bad ones (`inputs-stale`).
//! A driver that hangs holds up this thread alone: nobody waits for it.

mod i2c;
mod spi;
#[cfg(test)]
mod tests;

use std::fs::{File, OpenOptions};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Weak};
use std::time::Duration;

use process::{ArcVolts, VoltsInput, VoltsMeter, VoltsScale};
use units::Time;

use crate::config::{ConverterKind, VoltsConfig};
use crate::pins::Clock;
use crate::seldom::Seldom;

/// From look to look at the converter: a thousand readings a second where it keeps up (process handbook).
const EVERY: Duration = Duration::from_millis(1);
/// A conversion has ended after this: the slowest of those that are read takes 1.3 ms. Ours.
const CONVERTS_WITHIN: Duration = Duration::from_millis(10);
/// A converter that fails is told of so often.
const TOLD_EVERY: Duration = Duration::from_secs(10);

/// A converter, its channel chosen.
pub trait Converter: Send {
    /// Begins a conversion, or fetches the one that was begun: its counts, or `None` while it is under way.
    ///
    /// # Errors
    /// The converter does not answer, or what it says cannot be right. The next poll begins anew.
    fn poll(&mut self) -> Result<Option<i32>, String>;
}

/// The newest reading in one word, so that neither thread ever waits for the other: 42 bits of moment
/// (100 us each: 13 years), 20 bits of volts (0.01 V), 2 bits of what is known of the input.
#[derive(Debug)]
pub struct Latest(AtomicU64);

const TICK_US: u64 = 100;
const NOTHING_YET: u64 = 0b11;
const ZERO_CV: i64 = 1 << 19;

/// A reading and its moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltsRead {
    /// When it was begun, or a little before.
    pub at: Time,
    /// V; `None`: there was none yet.
    pub volts: Option<f64>,
    /// Whether it can be believed.
    pub input: VoltsInput,
}

impl Default for Latest {
    /// No reading yet.
    fn default() -> Self {
        Self(AtomicU64::new(NOTHING_YET))
    }
}

impl Latest {
    pub(crate) fn put(&self, at: Time, read: ArcVolts) {
        let input = match read.input {
            VoltsInput::Plausible => 0,
            VoltsInput::WireOff => 1,
            VoltsInput::Unmoving => 2,
        };
        let hundredths = (read.volts * 100.0).round() as i64;
        let volts = (hundredths.clamp(1 - ZERO_CV, ZERO_CV - 1) + ZERO_CV) as u64;
        let word = (at.as_us() / TICK_US) << 22 | volts << 2 | input;
        self.0.store(word, Ordering::Release);
    }

    /// The newest reading.
    #[must_use]
    pub fn get(&self) -> VoltsRead {
        let word = self.0.load(Ordering::Acquire);
        let hundredths = ((word >> 2) & 0xF_FFFF) as i64 - ZERO_CV;
        let nothing = word & 0b11 == NOTHING_YET;
        VoltsRead {
            at: Time::from_us((word >> 22) * TICK_US),
            volts: (!nothing).then_some(hundredths as f64 / 100.0),
            input: match word & 0b11 {
                1 => VoltsInput::WireOff,
                2 => VoltsInput::Unmoving,
                _ => VoltsInput::Plausible,
            },
        }
    }
}

/// A converter that nobody reads yet.
pub struct Source {
    converter: Box<dyn Converter>,
    scale: VoltsScale,
    /// Locked while it is held: no other program of ours reads the converter meanwhile.
    _lock: Option<File>,
}

/// Opens the converter that the machine file names. Whether it answers is not known then.
///
/// # Errors
/// The device cannot be opened, or a program of ours has it: what, and what to do.
pub fn open(config: &VoltsConfig, divider: f64) -> Result<Source, Unusable> {
    let lock = lock(&config.device)?;
    let wrong = |e: String| Unusable {
        says: format!("{}: {e}", config.device.display()),
        remedy: "Put the converter's device at volts.device of the machine file".into(),
        in_use: false,
    };
    let converter: Box<dyn Converter> = match config.converter {
        ConverterKind::Spi12Bit => Box::new(spi::open(config).map_err(wrong)?),
        ConverterKind::I2c16Bit => Box::new(i2c::open(config).map_err(wrong)?),
    };
    Ok(Source {
        converter,
        scale: config.scale(divider),
        _lock: Some(lock),
    })
}

/// Why a converter cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{says}. {remedy}")]
pub struct Unusable {
    /// What and where.
    pub says: String,
    /// What to do.
    pub remedy: String,
    /// Another program of ours reads it.
    pub in_use: bool,
}

fn lock(device: &Path) -> Result<File, Unusable> {
    let name = device.display();
    let bus = if name.to_string().contains("spi") {
        "SPI"
    } else {
        "I2C"
    };
    let file = OpenOptions::new().read(true).write(true).open(device);
    let file = file.map_err(|e| Unusable {
        says: format!("{name}: {e}"),
        remedy: match e.kind() {
            std::io::ErrorKind::PermissionDenied => format!(
                "Add this user to the group {0} and log in again; the service also needs its drop-in, see \
                 systemd/{0}.conf",
                bus.to_lowercase()
            ),
            _ => format!(
                "Switch {bus} on in the board's own settings and start it again; then put the device's path \
                 at volts.device of the machine file"
            ),
        },
        in_use: false,
    })?;
    match rustix::fs::flock(&file, rustix::fs::FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => Ok(file),
        Err(rustix::io::Errno::WOULDBLOCK) => Err(Unusable {
            says: format!("{name} is being read by a panel that runs"),
            remedy: "End the other panel, or leave this to it".into(),
            in_use: true,
        }),
        Err(e) => Err(Unusable {
            says: format!("{name} cannot be locked: {e}"),
            remedy: "Put the converter's device at volts.device of the machine file".into(),
            in_use: false,
        }),
    }
}

impl Source {
    /// Reads from now on, by this clock, for as long as somebody holds what is returned.
    ///
    /// # Errors
    /// The thread could not be made.
    pub fn start(self, clock: Arc<dyn Clock>) -> std::io::Result<Arc<Latest>> {
        let latest = Arc::new(Latest::default());
        let wanted = Arc::downgrade(&latest);
        std::thread::Builder::new()
            .name("arc-volts".into())
            .spawn(move || self.run(&*clock, &wanted))?;
        Ok(latest)
    }

    fn run(self, clock: &dyn Clock, wanted: &Weak<Latest>) {
        let seldom = Seldom::new();
        let mut reader = Reader::new(self.converter, self.scale);
        while let Some(latest) = wanted.upgrade() {
            match reader.look(clock.now()) {
                Ok(Some((at, read))) => latest.put(at, read),
                Ok(None) => {}
                Err(says) => {
                    if let Some(others) = seldom.now(TOLD_EVERY) {
                        tracing::warn!(others, "the converter of the arc volts: {says}");
                    }
                }
            }
            drop(latest);
            std::thread::park_timeout(EVERY);
        }
    }

    /// Reads so often, for `standclear check`: the last reading, and how far the counts lay apart.
    ///
    /// # Errors
    /// The converter does not answer, or what it says cannot be right.
    pub fn try_out(self, clock: &dyn Clock, readings: usize) -> Result<TriedOut, String> {
        let scale = self.scale;
        let mut reader = Reader::new(self.converter, scale);
        let mut tried: Option<TriedOut> = None;
        let mut read = 0;
        while read < readings {
            if let Some((_, volts)) = reader.look(clock.now())? {
                read += 1;
                let counts = reader.counts;
                let (low, high) = tried.map_or((counts, counts), |t| (t.low, t.high));
                tried = Some(TriedOut {
                    volts,
                    low: low.min(counts),
                    high: high.max(counts),
                    input_v: f64::from(counts) * scale.volts_per_count,
                });
            }
            std::thread::park_timeout(EVERY);
        }
        tried.ok_or_else(|| "was not read".to_owned())
    }

    /// A converter that a test plays.
    #[cfg(test)]
    pub fn played(converter: impl Converter + 'static, scale: VoltsScale) -> Self {
        Self {
            converter: Box::new(converter),
            scale,
            _lock: None,
        }
    }
}

/// What some readings came to.
#[derive(Clone, Copy, Debug)]
pub struct TriedOut {
    /// By the last of them.
    pub volts: ArcVolts,
    /// Lowest counts.
    pub low: i32,
    /// Highest counts.
    pub high: i32,
    /// At the converter's input, by the last of them, V.
    pub input_v: f64,
}

/// Reads one conversion after the other.
struct Reader {
    converter: Box<dyn Converter>,
    meter: VoltsMeter,
    /// When the conversion under way was begun.
    begun: Option<Time>,
    counts: i32,
}

impl Reader {
    fn new(converter: Box<dyn Converter>, scale: VoltsScale) -> Self {
        Self {
            converter,
            meter: VoltsMeter::new(scale),
            begun: None,
            counts: 0,
        }
    }

    /// Looks at the converter: a reading that has come, with the moment at which it was begun.
    fn look(&mut self, now: Time) -> Result<Option<(Time, ArcVolts)>, String> {
        let begun = *self.begun.get_or_insert(now);
        let polled = self.converter.poll();
        match polled {
            Ok(Some(counts)) => {
                self.begun = None;
                self.counts = counts;
                Ok(Some((begun, self.meter.read(begun, counts))))
            }
            Ok(None) if now.since(begun) > CONVERTS_WITHIN => {
                // Whatever comes of it at last is as old as that.
                let ms = CONVERTS_WITHIN.as_millis();
                Err(format!("a conversion has not ended in {ms} ms"))
            }
            Ok(None) => Ok(None),
            Err(says) => {
                self.begun = None;
                Err(says)
            }
        }
    }
}
