//! From the text of a machine file to a [`Config`].

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use control::{Commissioning, Output};
use link::{Capability, Dialect, StampedInput};
use process::{Chart, ChartRow};
use toml::Spanned;
use toml::de::{DeTable, DeValue};
use units::Point;

use super::covered;
use super::low::{File, Input, Level, Pins, Pull, ScreenLost, WatchFrom};
use super::signals::{self, SIGNALS};
use super::{
    AirConfig, Backend, Config, ConfigError, InputPin, LinkConfig, PinsConfig, PowerConfig, range,
};

/// No machine file, chart or dialect is longer, bytes: a wrong path is found before it is read
/// into memory.
const LONGEST: u64 = 1 << 20;

/// Header pins of the boards that the backend `rppal` drives are numbered 0 to 27.
const HIGHEST_PIN: u32 = 27;

/// The chip of the character device where none is named: on most boards the one with the header.
const USUAL_CHIP: &str = "gpiochip0";

/// One request of the kernel holds so many lines at most.
const MOST_INPUTS: usize = 64;

/// Longest debounce, ms: more would hide what the guard must see. Ours.
const LONGEST_DEBOUNCE_MS: u64 = 100;

/// Reads another file that the machine file names: its name for messages, and its text.
pub type ReadNamed<'a> = &'a dyn Fn(&str) -> Result<(String, String), ConfigError>;

/// A controller counts as silent after so many reports that did not come, at least (ours: of two that are
/// lost one after the other nothing is made).
const SILENT_REPORTS: u64 = 3;

/// Reads a whole text file.
///
/// # Errors
/// The file cannot be read, is too long or is no UTF-8.
pub fn read_text(path: &Path, remedy: &str) -> Result<String, ConfigError> {
    let wrong = |says: String| ConfigError {
        file: path.display().to_string(),
        says,
        remedy: remedy.to_owned(),
    };
    let bytes = crate::files::read(path, LONGEST).map_err(wrong)?;
    String::from_utf8(bytes).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        wrong(format!("is no text in UTF-8 (byte {at})"))
    })
}

/// Key, what is wrong and what to do.
type Misfit = (&'static str, String, String);

/// What the machine file and the dialect must agree on.
fn fits(low: &File, dialect: &Dialect) -> Result<(), Misfit> {
    for (needed, key, what) in [
        (Capability::TouchOff, "commands.touch_off", "touch off"),
        (Capability::Home, "commands.home", "reference its axes"),
    ] {
        if !dialect.has(needed) {
            return Err((
                "link.dialect",
                format!(
                    "names a dialect without {key}: nothing can be cut with a controller that cannot {what}"
                ),
                "Say in the dialect how it is told to, or take another controller".into(),
            ));
        }
    }
    let reports_ms = dialect.report_every().as_millis() as u64;
    if low.link.silence_ms < SILENT_REPORTS * reports_ms {
        return Err((
            "link.silence_ms",
            format!(
                "is {}, and the dialect reports every {reports_ms} ms: {SILENT_REPORTS} reports would \
                 not fit",
                low.link.silence_ms
            ),
            format!("Give at least {}", SILENT_REPORTS * reports_ms),
        ));
    }
    if !dialect.has(Capability::Stamps(StampedInput::ArcOk))
        && low.arc_signal.reports_ms < reports_ms as f64
    {
        return Err((
            "arc_signal.reports_ms",
            format!(
                "is {}, and this controller stamps no arc and reports every {reports_ms} ms: the arc \
                 may be lost further on than would be told",
                low.arc_signal.reports_ms
            ),
            format!("Give {reports_ms} and the way of a report, in ms: at least {reports_ms}"),
        ));
    }
    if !dialect.has(Capability::Sense) && low.cycle.skip_touch_mm > 0.0 {
        return Err((
            "cycle.skip_touch_mm",
            format!(
                "is {}, and this controller connects the sensing circuit for a touch-off alone: no \
                 contact would be seen on the way down",
                low.cycle.skip_touch_mm
            ),
            "Give 0".into(),
        ));
    }
    Ok(())
}

/// Parses, checks and resolves a machine file. `named` reads the files that it names.
///
/// # Errors
/// The file, the line and key, what is wrong and what to do.
pub fn resolve(file: &str, text: &str, named: ReadNamed<'_>) -> Result<Config, ConfigError> {
    let low: File = parse(file, text)?;
    let at = |key: &str, says: String, remedy: &str| ConfigError {
        file: file.to_owned(),
        says: format!("{}{key} {says}", line_of(text, key)),
        remedy: remedy.to_owned(),
    };
    range::check(&low).map_err(|w| at(w.key, w.says, &w.remedy))?;
    let (inputs, outputs, mut fitted) =
        pins(&low.pins).map_err(|w| at(&w.key, w.says, &w.remedy))?;
    if let Some(volts) = &low.volts {
        let checked = volts.check(low.source.divider);
        checked.map_err(|(key, says, remedy)| at(key, says, &remedy))?;
        fitted.insert("volts".to_owned());
    }
    if low.link.port.is_empty() {
        let remedy = "Name the serial port, such as /dev/ttyUSB0";
        return Err(at("link.port", "is empty".into(), remedy));
    }

    let (dialect_file, dialect_text) = named(&low.link.dialect)?;
    let dialect = Dialect::from_toml(&dialect_text).map_err(|e| ConfigError {
        file: dialect_file,
        says: format!("{}{}: {}", line_of(&dialect_text, &e.key), e.key, e.says),
        remedy: e.remedy,
    })?;
    fits(&low, &dialect).map_err(|(key, says, remedy)| at(key, says, &remedy))?;
    let chart = match &low.chart {
        Some(path) => {
            let (chart_file, chart_text) = named(path)?;
            chart(&chart_file, &chart_text)?
        }
        None => Vec::new(),
    };
    let point = |[x, y]: [f64; 2]| Point::new(x, y);
    Ok(Config {
        name: low.name,
        file: None,
        text: text.to_owned(),
        travel: low.table.travel,
        sheet_corner: point(low.table.sheet_corner),
        slat_top_z: low.table.slat_top_z,
        park: point(low.table.park),
        change: low.table.change.map(point),
        slat_pitch_mm: low.table.slat_pitch_mm,
        slat_depth_mm: low.table.slat_depth_mm,
        motion: low.motion,
        cycle: process::CycleSettings {
            // Told once, with the source's air.
            post_flow_s: low.air.post_flow_s,
            ..low.cycle
        },
        guard: low.guard,
        arc_signal: low.arc_signal,
        estop: low.estop,
        link: LinkConfig {
            port: PathBuf::from(low.link.port),
            baud: low.link.baud,
            dialect: Arc::new(dialect),
            silence_ms: low.link.silence_ms,
        },
        pins: PinsConfig {
            backend: low.pins.backend,
            chip: low.pins.chip.unwrap_or_else(|| USUAL_CHIP.to_owned()),
            permit: low.pins.permit,
            inputs,
            outputs,
            fitted,
        },
        volts: low.volts,
        chart,
        source: low.source.times,
        power: PowerConfig {
            rated_amps: low.source.rated_amps,
            rated_duty: low.source.rated_duty,
            starting: low.source.starting,
            divider: low.source.divider,
            settings_amps: low.source.settings_amps,
        },
        air: AirConfig {
            receiver_l: low.air.receiver_l,
            compressor_l_min: low.air.compressor_l_min,
            torch_l_min: low.air.torch_l_min,
            start_bar: low.air.start_bar,
            stop_bar: low.air.stop_bar,
            low_bar: low.air.low_bar,
            hose_bar: low.air.hose_bar,
            post_flow_s: low.air.post_flow_s,
            compressor: low.air.compressor,
            regulator_bar: low.air.regulator_bar,
        },
        supplies: low.supplies,
        prices: low.prices,
        counted: None,
        reached_tolerance_mm: low.reached_tolerance_mm,
        screen_lost_after_cut: low.screen_lost == ScreenLost::AfterCut,
        extraction_after_s: low.extraction.after_s,
        watch_from_lan: low.access.watch == WatchFrom::Lan,
        commissioning: Commissioning {
            covered: covered::hashes(text, &dialect_text),
            ..Commissioning::default()
        },
        torch_on: low.words.torch_on,
        torch_off: low.words.torch_off,
    })
}

fn parse<T: serde::de::DeserializeOwned>(file: &str, text: &str) -> Result<T, ConfigError> {
    toml::from_str(text).map_err(|e| ConfigError {
        file: file.to_owned(),
        says: match e.span() {
            Some(span) => format!(
                "line {}: {}",
                line_at(text, span.start),
                first_line(e.message())
            ),
            None => first_line(e.message()),
        },
        remedy: "Correct that line; config/machines/example-board.toml shows every key".to_owned(),
    })
}

fn first_line(message: &str) -> String {
    message.lines().collect::<Vec<_>>().join("; ")
}

/// Counted from 1.
fn line_at(text: &str, byte: usize) -> usize {
    let before = text.as_bytes().get(..byte).unwrap_or(text.as_bytes());
    before.iter().filter(|b| **b == b'\n').count() + 1
}

/// "line N: " of a key's place; nothing where the key is not written in the file and its default
/// is meant.
fn line_of(text: &str, key: &str) -> String {
    let Ok(table) = DeTable::parse(text) else {
        return String::new();
    };
    let mut here: Option<&Spanned<DeValue<'_>>> = None;
    let mut table: Option<&DeTable<'_>> = Some(table.get_ref());
    for part in key.split('.') {
        match table.and_then(|t| t.get(part)) {
            Some(value) => {
                here = Some(value);
                table = match value.get_ref() {
                    DeValue::Table(inner) => Some(inner),
                    _ => None,
                };
            }
            None => break,
        }
    }
    here.map_or_else(String::new, |v| {
        format!("line {}: ", line_at(text, v.span().start))
    })
}

/// What is wrong with a pin.
struct WrongPin {
    key: String,
    says: String,
    remedy: String,
}

fn wrong(key: impl Into<String>, says: impl Into<String>, remedy: impl Into<String>) -> WrongPin {
    WrongPin {
        key: key.into(),
        says: says.into(),
        remedy: remedy.into(),
    }
}

fn unknown(key: String, name: &str) -> WrongPin {
    wrong(
        key,
        format!("names the signal {name:?}, which there is not"),
        format!("The signals are {}", signals::names()),
    )
}

/// Input pins, pins of the outputs, and the names of all that is fitted.
type Wired = (Vec<InputPin>, Vec<(Output, u32)>, BTreeSet<String>);

fn pins(pins: &Pins) -> Result<Wired, WrongPin> {
    let (inputs, outputs, fitted) = match pins.backend {
        Backend::None => (Vec::new(), Vec::new(), without_pins(pins)?),
        Backend::CharacterDevice | Backend::Rppal => wired(pins)?,
    };
    if let Some(missing) = SIGNALS
        .iter()
        .find(|s| s.required && !fitted.contains(s.name))
    {
        return Err(wrong(
            "pins",
            format!(
                "lacks the signal {}: what is not known is not safe",
                missing.name
            ),
            "A table must have fire_on, arc_ok, contact and estop: wire it and name it",
        ));
    }
    Ok((inputs, outputs, fitted))
}

/// The pins of the outputs that are fitted.
fn output_pins(pins: &Pins) -> Vec<(Output, u32)> {
    let of = |output| match output {
        Output::Beacon => pins.outputs.beacon,
        Output::Sounder => pins.outputs.sounder,
        Output::Extraction => pins.outputs.extraction,
    };
    let fitted = Output::ALL.into_iter();
    fitted.filter_map(|o| of(o).map(|pin| (o, pin))).collect()
}

/// The signals of a table without pins.
fn without_pins(pins: &Pins) -> Result<BTreeSet<String>, WrongPin> {
    if !pins.inputs.is_empty()
        || pins.permit.is_some()
        || !output_pins(pins).is_empty()
        || pins.chip.is_some()
        || !pins.reserved.is_empty()
    {
        return Err(wrong(
            "pins.backend",
            "is \"none\", and yet pins are given",
            "Take backend = \"character-device\", or name the signals alone in pins.fitted",
        ));
    }
    for name in &pins.fitted {
        let output = Output::ALL.iter().any(|o| o.name() == name);
        if !output && signals::named(name).is_none() {
            return Err(unknown("pins.fitted".into(), name));
        }
    }
    Ok(pins.fitted.iter().cloned().collect())
}

/// The inputs of a table with pins, and what is fitted.
fn wired(pins: &Pins) -> Result<Wired, WrongPin> {
    if !pins.fitted.is_empty() {
        return Err(wrong(
            "pins.fitted",
            format!("is given beside backend = {:?}", pins.backend.name()),
            "Leave it out: what has a table [pins.inputs.NAME] is fitted",
        ));
    }
    if pins.backend == Backend::Rppal && pins.chip.is_some() {
        return Err(wrong(
            "pins.chip",
            "is given beside backend = \"rppal\", which finds its pins by itself",
            "Leave it out, or take backend = \"character-device\"",
        ));
    }
    if pins.chip.as_deref() == Some("") {
        return Err(wrong(
            "pins.chip",
            "is empty",
            "Name the chip by its name, path or label, such as \"gpiochip0\"",
        ));
    }
    let permit = pins.permit.ok_or_else(|| {
        wrong(
            "pins.permit",
            "is missing: without the permit's pin nothing can be cut",
            "Name the output pin that the missing-pulse relay is wired to",
        )
    })?;
    let mut used = vec![("permit".to_owned(), "pins.permit".to_owned(), permit)];
    let (mut inputs, mut fitted) = (Vec::new(), BTreeSet::new());
    for (name, input) in &pins.inputs {
        let key = format!("pins.inputs.{name}");
        let kind = signals::named(name).ok_or_else(|| unknown(key.clone(), name))?;
        if !kind.on_a_pin {
            return Err(wrong(
                key,
                "is not an on/off input",
                "Arc voltage cannot be read by a pin: name its converter in [volts]",
            ));
        }
        inputs.push(
            input_pin(name, kind.open_is_safe, input)
                .map_err(|(says, remedy)| wrong(key.clone(), says, remedy))?,
        );
        used.push((name.clone(), key, input.pin));
        fitted.insert(name.clone());
    }
    if inputs.len() > MOST_INPUTS {
        return Err(wrong(
            "pins.inputs",
            format!("has {} inputs, more than {MOST_INPUTS}", inputs.len()),
            "Leave some out",
        ));
    }
    let outputs = output_pins(pins);
    for (output, pin) in &outputs {
        let name = output.name().to_owned();
        used.push((name.clone(), format!("pins.outputs.{name}"), *pin));
        fitted.insert(name);
    }
    check_numbers(pins, &used)?;
    Ok((inputs, outputs, fitted))
}

fn check_numbers(pins: &Pins, used: &[(String, String, u32)]) -> Result<(), WrongPin> {
    for (i, (name, key, pin)) in used.iter().enumerate() {
        if pins.backend == Backend::Rppal && *pin > HIGHEST_PIN {
            return Err(wrong(
                key,
                format!("is pin {pin}, beyond {HIGHEST_PIN}"),
                "Give the number of the board's processor (GPIO), not the place on the header",
            ));
        }
        if let Some((other, ..)) = used.iter().take(i).find(|(.., p)| p == pin) {
            return Err(wrong(
                key,
                format!("puts {name} on pin {pin}, which {other} has already"),
                "Give every signal a pin of its own",
            ));
        }
        if let Some((by, _)) = pins.reserved.iter().find(|(_, p)| p.contains(pin)) {
            return Err(wrong(
                key,
                format!("puts {name} on pin {pin}, which pins.reserved.{by} keeps for {by}"),
                format!(
                    "Wire {name} to another pin, or take {pin} from pins.reserved.{by} if the board \
                     does not use it so"
                ),
            ));
        }
    }
    Ok(())
}

fn input_pin(
    name: &str,
    open_is_safe: bool,
    input: &Input,
) -> Result<InputPin, (String, &'static str)> {
    if input.debounce_ms > LONGEST_DEBOUNCE_MS {
        let says = format!(
            "has debounce_ms = {}, more than {LONGEST_DEBOUNCE_MS} ms",
            input.debounce_ms
        );
        return Err((says, "Shorten it: the guard would see too late"));
    }
    if name == "estop" && input.debounce_ms > 0 {
        return Err((
            format!("has debounce_ms = {}", input.debounce_ms),
            "An emergency stop counts at its first edge: set 0",
        ));
    }
    let loose_wire_reads_closed = matches!(
        (input.pull, input.closed_is),
        (Pull::Up | Pull::OutsideUp, Level::High) | (Pull::Down | Pull::OutsideDown, Level::Low)
    );
    if open_is_safe && input.pull == Pull::None {
        return Err((
            "has no resistor that pulls it: when its wire comes off it may read as closed".into(),
            "Set pull = \"up\" or \"down\" for the board's own resistor, \"outside-up\" or \
             \"outside-down\" for one beside it, so that a loose wire reads as an open contact",
        ));
    }
    if open_is_safe && loose_wire_reads_closed {
        return Err((
            "would read as closed when its wire comes off".into(),
            "Turn pull or closed_is round (and the wiring with it), so that a loose wire reads as \
             an open contact",
        ));
    }
    Ok(InputPin {
        signal: name.to_owned(),
        pin: input.pin,
        active_high: input.closed_is == Level::High,
        pull: match input.pull {
            Pull::Up => "up",
            Pull::Down => "down",
            Pull::OutsideUp | Pull::OutsideDown | Pull::None => "none",
        }
        .to_owned(),
        debounce_ms: input.debounce_ms,
    })
}

fn chart(file: &str, text: &str) -> Result<Vec<ChartRow>, ConfigError> {
    let chart = Chart::from_toml(text).map_err(|e| ConfigError {
        file: file.to_owned(),
        says: format!("{}: {}", e.at, e.says),
        remedy: e.remedy,
    })?;
    Ok(chart.into_rows())
}
