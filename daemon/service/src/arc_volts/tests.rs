//! Both converters as their registers are, on buses that a test plays.

use std::sync::{Mutex, MutexGuard, PoisonError, mpsc};

use embedded_hal::i2c::{self, I2c};
use embedded_hal::spi::{self, SpiDevice};

use super::i2c::{I2c16, RANGES};
use super::spi::Spi12;
use super::*;

fn config(converter: ConverterKind, channel: u8, full_scale_v: f64) -> VoltsConfig {
    VoltsConfig {
        converter,
        device: "/dev/null".into(),
        address: 0x48,
        channel,
        full_scale_v,
        offset_v: 0.0,
        wire_off_below_v: None,
    }
}

/// What a test and the converter's driver hold of the same part.
struct Held<P>(Arc<Mutex<P>>);

impl<P> Held<P> {
    fn new(part: P) -> Self {
        Self(Arc::new(Mutex::new(part)))
    }

    fn other(&self) -> Self {
        Self(Arc::clone(&self.0))
    }

    fn part(&self) -> MutexGuard<'_, P> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The 12-bit part, clocked bit by bit as its data sheet draws it (from memory): nothing drives the line
/// before the zero, and a resistor pulls it up.
#[derive(Default)]
struct SpiPart {
    /// Counts at each channel.
    inputs: [u16; 8],
    heard: Vec<[u8; 4]>,
    /// The bus fails.
    dead_bus: bool,
    /// Not there: the line stands so.
    absent: Option<bool>,
    /// This bit of the answer is turned over on its way.
    disturbed: Option<u32>,
}

impl spi::ErrorType for Held<SpiPart> {
    type Error = spi::ErrorKind;
}

impl SpiDevice for Held<SpiPart> {
    fn transaction(&mut self, all: &mut [spi::Operation<'_, u8>]) -> Result<(), spi::ErrorKind> {
        let mut part = self.part();
        if part.dead_bus {
            return Err(spi::ErrorKind::Other);
        }
        for one in all {
            match one {
                spi::Operation::TransferInPlace(bytes) => {
                    let asked: [u8; 4] = (&**bytes).try_into().expect("four bytes");
                    bytes.copy_from_slice(&part.answer(asked).to_be_bytes());
                }
                other => panic!("{other:?} is not what the part is spoken to by"),
            }
        }
        Ok(())
    }
}

impl SpiPart {
    fn answer(&mut self, asked: [u8; 4]) -> u32 {
        self.heard.push(asked);
        if let Some(level) = self.absent {
            return if level { u32::MAX } else { 0 };
        }
        let asked = u32::from_be_bytes(asked);
        let bit = |at: u32| asked >> (31 - at) & 1;
        let start = (0..32).find(|at| bit(*at) == 1).expect("a start bit");
        assert_eq!(bit(start + 1), 1, "single-ended");
        let channel = (2..5).fold(0, |n, k| n << 1 | bit(start + k));
        let value = u32::from(self.inputs[channel as usize]);
        // The sample is taken, a zero, twelve bits highest first, then from the second lowest up.
        let mut out = vec![1; (start + 6) as usize];
        out.push(0);
        out.extend((0..12).rev().map(|k| value >> k & 1));
        out.extend((1..12).map(|k| value >> k & 1));
        out.resize(32, 0);
        let word = out.iter().fold(0, |word, bit| word << 1 | bit);
        word ^ self.disturbed.map_or(0, |at| 1 << at)
    }
}

#[test]
fn each_channel_of_the_12_bit_converter_is_asked_for_and_every_count_comes_back() {
    let bus = Held::new(SpiPart::default());
    for channel in 0..8 {
        let mut converter = Spi12::new(bus.other(), channel);
        for counts in [0, 1, 2, 0x555, 0x800, 0xABC, 0xFFE, 0xFFF] {
            bus.part().inputs = [0x123; 8];
            bus.part().inputs[usize::from(channel)] = counts;
            assert_eq!(converter.poll(), Ok(Some(i32::from(counts))), "{channel}");
        }
    }
    let mut bytes: Vec<_> = bus.part().heard.clone();
    bytes.dedup();
    let literal: [[u8; 4]; 8] = [
        [0xC0, 0, 0, 0],
        [0xC8, 0, 0, 0],
        [0xD0, 0, 0, 0],
        [0xD8, 0, 0, 0],
        [0xE0, 0, 0, 0],
        [0xE8, 0, 0, 0],
        [0xF0, 0, 0, 0],
        [0xF8, 0, 0, 0],
    ];
    assert_eq!(bytes, literal);
}

#[test]
fn a_12_bit_converter_that_is_gone_or_disturbed_gives_no_reading() {
    let bus = Held::new(SpiPart {
        inputs: [0x6A5; 8],
        ..SpiPart::default()
    });
    let mut converter = Spi12::new(bus.other(), 3);
    bus.part().absent = Some(true);
    let says = converter.poll().expect_err("its line stands high");
    assert!(says.contains("does not answer"), "{says}");
    bus.part().absent = None;
    bus.part().dead_bus = true;
    assert!(converter.poll().is_err());
    bus.part().dead_bus = false;
    // Every bit of value, its repetition and the zero before them; the lowest is given once alone.
    for bit in (2..=12).chain(14..=25) {
        bus.part().disturbed = Some(bit);
        assert!(converter.poll().is_err(), "bit {bit}");
    }
    bus.part().disturbed = None;
    assert_eq!(converter.poll(), Ok(Some(0x6A5)), "it goes on by itself");
    // A line that stands low reads as nothing: with the input half a volt up that is a loose wire.
    bus.part().absent = Some(false);
    let scale = VoltsScale {
        volts_per_count: 5.0 / 4096.0,
        offset_v: 0.5,
        divider: 50.0,
        wire_off_below_v: Some(0.25),
    };
    let mut reader = Reader::new(Box::new(converter), scale);
    let read = (0..5).map(|ms| reader.look(Time::from_ms(ms)).expect("read"));
    let (_, last) = read.last().flatten().expect("read");
    assert_eq!(last.input, VoltsInput::WireOff);
}

/// The 16-bit part: pointer, conversion and configuration registers.
struct I2cPart {
    /// At its four inputs, V.
    inputs: [f64; 4],
    config: u16,
    conversion: i16,
    /// Looks at the configuration until a conversion has ended; `None`: it never does.
    takes: Option<u32>,
    left: u32,
    /// Nobody answers.
    gone: bool,
}

/// After power-on (data sheets of such converters, from memory).
const AT_POWER_ON: u16 = 0x8583;

impl I2cPart {
    fn new() -> Held<Self> {
        Held::new(Self {
            inputs: [0.0; 4],
            config: AT_POWER_ON,
            conversion: 0,
            takes: Some(2),
            left: 0,
            gone: false,
        })
    }

    fn begin(&mut self) {
        let range = [6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256];
        let full = range[usize::from(self.config >> 9 & 0b111)];
        let input = match self.config >> 12 & 0b111 {
            0 => self.inputs[0] - self.inputs[1],
            n @ 4..=7 => self.inputs[usize::from(n - 4)],
            n => panic!("{n}: two inputs against each other"),
        };
        let counts = (input / full * 32768.0).round();
        self.conversion = counts.clamp(-32768.0, 32767.0) as i16;
        self.left = self.takes.unwrap_or(u32::MAX);
    }

    /// A dip of its supply.
    fn reset(&mut self) {
        (self.config, self.conversion, self.left) = (AT_POWER_ON, 0, 0);
    }
}

impl i2c::ErrorType for Held<I2cPart> {
    type Error = i2c::ErrorKind;
}

impl I2c for Held<I2cPart> {
    fn transaction(
        &mut self,
        address: u8,
        all: &mut [i2c::Operation<'_>],
    ) -> Result<(), i2c::ErrorKind> {
        let mut part = self.part();
        if part.gone || address != 0x48 {
            let nobody = i2c::NoAcknowledgeSource::Address;
            return Err(i2c::ErrorKind::NoAcknowledge(nobody));
        }
        let mut pointer = 0;
        for one in all {
            match one {
                i2c::Operation::Write([to]) => pointer = *to,
                i2c::Operation::Write([1, high, low]) => {
                    part.config = u16::from_be_bytes([*high, *low]);
                    if part.config & 0x8000 != 0 {
                        part.begin();
                    }
                }
                i2c::Operation::Read(bytes) => {
                    let word = match pointer {
                        0 => part.conversion.to_be_bytes(),
                        1 => {
                            let ready = part.left == 0;
                            part.left = part.left.saturating_sub(1);
                            let word = part.config & 0x7FFF | u16::from(ready) << 15;
                            word.to_be_bytes()
                        }
                        n => panic!("there is no register {n}"),
                    };
                    bytes.copy_from_slice(&word);
                }
                i2c::Operation::Write(other) => panic!("{other:02x?} is no register"),
            }
        }
        Ok(())
    }
}

/// Polls until a reading comes.
fn reading(converter: &mut impl Converter) -> Result<i32, String> {
    for _ in 0..20 {
        if let Some(counts) = converter.poll()? {
            return Ok(counts);
        }
    }
    Err("no reading in 20 polls".into())
}

#[test]
fn the_16_bit_converter_reads_each_channel_in_each_range_at_its_highest_rate() {
    for (full, _) in RANGES {
        for channel in 0..4 {
            let bus = I2cPart::new();
            bus.part().inputs[usize::from(channel)] = full * 0.75;
            let config = config(ConverterKind::I2c16Bit, channel, full);
            let mut converter = I2c16::new(bus.other(), &config).expect("its settings");
            assert_eq!(reading(&mut converter), Ok(24576), "{full} V, {channel}");
            let set = bus.part().config;
            assert_eq!(set >> 5 & 0b111, 0b111, "860 a second");
            assert_eq!(set >> 8 & 1, 1, "one at a time");
            bus.part().inputs[usize::from(channel)] = -full * 0.25;
            assert_eq!(reading(&mut converter), Ok(-8192), "below ground");
        }
    }
    let elsewhere = VoltsConfig {
        address: 0x50,
        ..config(ConverterKind::I2c16Bit, 0, 4.096)
    };
    assert!(I2c16::new(I2cPart::new(), &elsewhere).is_err());
}

#[test]
fn a_16_bit_converter_that_was_reset_or_gone_reads_right_again_and_nothing_of_before() {
    let bus = I2cPart::new();
    bus.part().inputs = [1.0, 0.5, 0.0, 0.0];
    let config = config(ConverterKind::I2c16Bit, 0, 4.096);
    let mut converter = I2c16::new(bus.other(), &config).expect("its settings");
    assert_eq!(reading(&mut converter), Ok(8000));
    bus.part().reset();
    assert_eq!(
        reading(&mut converter),
        Ok(8000),
        "asked for with all settings"
    );
    // It goes while a conversion of 1.0 V is under way, and comes back with 2.0 V at its input.
    assert_eq!(converter.poll(), Ok(None));
    bus.part().gone = true;
    let says = converter.poll().expect_err("nobody answers");
    assert!(says.contains("does not answer"), "{says}");
    assert!(converter.poll().is_err());
    bus.part().gone = false;
    bus.part().left = 0;
    bus.part().inputs[0] = 2.0;
    assert_eq!(reading(&mut converter), Ok(16000), "none of the old 8000");
}

#[test]
fn a_conversion_that_does_not_end_is_an_error_and_comes_late_with_the_moment_it_was_begun() {
    let bus = I2cPart::new();
    bus.part().inputs[0] = 1.0;
    let config = config(ConverterKind::I2c16Bit, 0, 4.096);
    let converter = I2c16::new(bus.other(), &config).expect("its settings");
    let mut reader = Reader::new(Box::new(converter), config.scale(100.0));
    // The first reading of all.
    let mut ms = 0;
    while reader
        .look(Time::from_ms(ms))
        .expect("it answers")
        .is_none()
    {
        ms += 1;
        assert!(ms < 20);
    }
    bus.part().takes = None;
    let begun = Time::from_ms(100);
    assert_eq!(reader.look(begun), Ok(None));
    for ms in 101..=110 {
        assert_eq!(reader.look(Time::from_ms(ms)), Ok(None), "{ms}");
    }
    let says = reader.look(Time::from_ms(111)).expect_err("too long");
    assert!(says.contains("10 ms"), "{says}");
    bus.part().left = 0;
    let (at, read) = reader
        .look(Time::from_ms(500))
        .expect("it answers")
        .expect("it has ended");
    assert_eq!(at, begun, "as old as it is");
    assert!((read.volts - 100.0).abs() < 0.1, "{read:?}");
}

#[test]
fn the_newest_reading_is_kept_in_one_word() {
    let latest = Latest::default();
    assert_eq!(latest.get().volts, None);
    assert_eq!(latest.get().at, Time::ZERO, "as old as can be");
    let cases = [
        (0.0, VoltsInput::Plausible),
        (113.27, VoltsInput::Plausible),
        (-25.0, VoltsInput::WireOff),
        (0.01, VoltsInput::Unmoving),
        (-0.01, VoltsInput::Unmoving),
        (4999.99, VoltsInput::Plausible),
    ];
    let year = 365 * 24 * 3600 * 1_000_000_u64;
    for (k, (volts, input)) in cases.into_iter().enumerate() {
        let at = Time::from_us(k as u64 * 2 * year + 1234 * TICK_US);
        latest.put(at, ArcVolts { volts, input });
        let read = latest.get();
        assert_eq!((read.at, read.input), (at, input));
        assert!((read.volts.expect("read") - volts).abs() < 1e-9, "{read:?}");
    }
    // What does not fit stays of its sign and size, and an odd moment is told as older.
    for (volts, told) in [(1e9, 5242.87), (-1e9, -5242.87), (f64::NAN, 0.0)] {
        let input = VoltsInput::Plausible;
        latest.put(Time::from_us(1_099), ArcVolts { volts, input });
        assert_eq!(latest.get().volts, Some(told), "{volts}");
        assert_eq!(latest.get().at, Time::from_us(1_000));
    }
}

/// Tells of each poll, and fails every other time.
struct Played(mpsc::Sender<()>, u32);

impl Converter for Played {
    fn poll(&mut self) -> Result<Option<i32>, String> {
        let _ = self.0.send(());
        self.1 += 1;
        if self.1.is_multiple_of(2) {
            return Err("every other time".into());
        }
        Ok(Some(1000))
    }
}

#[test]
fn it_is_read_on_a_thread_of_its_own_for_as_long_as_somebody_wants_it() {
    let (polled, polls) = mpsc::channel();
    let scale = config(ConverterKind::Spi12Bit, 0, 4.096).scale(50.0);
    let clock = crate::pins::Monotonic::starting_now();
    let source = Source::played(Played(polled, 0), scale);
    let latest = source.start(Arc::new(clock)).expect("a thread");
    let heard = |n: usize| {
        for _ in 0..n {
            let polled = polls.recv_timeout(Duration::from_secs(20));
            polled.expect("it is polled");
        }
    };
    heard(3);
    let first = latest.get();
    assert_eq!(first.volts, Some(50.0));
    heard(4);
    assert!(latest.get().at > first.at, "again and again");
    drop(latest);
    while polls.recv_timeout(Duration::from_secs(20)).is_ok() {}
    assert_eq!(
        polls.recv_timeout(Duration::ZERO),
        Err(mpsc::RecvTimeoutError::Disconnected),
        "the thread has ended"
    );
}

#[test]
fn a_device_that_is_missing_or_in_use_is_told_apart() {
    let folder = tempfile::tempdir().expect("a folder");
    let device = folder.path().join("spidev0.0");
    let missing = lock(&device).expect_err("it is not there");
    assert!(missing.remedy.contains("Switch SPI on"), "{missing}");
    std::fs::write(&device, "").expect("a file");
    let held = lock(&device).expect("free");
    let other = lock(&device).expect_err("in use");
    assert!(other.in_use && other.says.contains("panel"), "{other}");
    drop(held);
    assert!(lock(&device).is_ok());
}

#[test]
fn the_machine_files_ranges_are_the_converters() {
    for (full, _) in RANGES {
        let config = VoltsConfig {
            channel: 3,
            ..config(ConverterKind::I2c16Bit, 0, full)
        };
        assert!(config.check(500.0 / full).is_ok(), "{full}");
    }
}
