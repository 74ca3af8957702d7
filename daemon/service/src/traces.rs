//! Traces on disk: a file for each fault, or for several that came close together, beside the journal.
//!
//! **Form**: JSON, compressed (gzip, RFC 1952): one array for each thing that was measured, all of one length.
//! **The rule**: the newest [`MOST`] are kept, and of these as many as take [`TOGETHER`]; written by the
//! journal's thread when no event waits. A trace is something to look at: one that cannot be
//! written keeps nobody from cutting, and a restart needs none.
//! **If the power goes**: a file is there whole or not at all.

use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use control::trace::{Level, Sample, Trace};
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use serde::{Deserialize, Serialize};
use units::Time;

/// Traces that are kept: a shop's faults of months.
const MOST: usize = 200;
/// Bytes of all of them; one takes some 40 kB.
const TOGETHER: u64 = 32 << 20;
/// A trace that is larger than this when unpacked is not one of ours, bytes.
const LARGEST: u64 = 16 << 20;
const ENDING: &str = ".json.gz";
/// Of the form.
const VERSION: u32 = 1;

/// A trace as it is written and told. Each array has an entry for each sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Form {
    /// [`VERSION`].
    pub v: u32,
    /// Which start of the panel, from 1.
    pub start: i64,
    /// When its faults were, microseconds of the panel's clock in that start.
    pub faults_us: Vec<u64>,
    /// When its first sample was, the same clock.
    pub from_us: u64,
    /// Which level each bit of `known` and `on` is, from the lowest.
    pub levels: Vec<Level>,
    /// Since `from_us`, microseconds.
    pub t_us: Vec<u64>,
    /// Levels that were known.
    pub known: Vec<u16>,
    /// Levels that were on.
    pub on: Vec<u16>,
    /// Sheet, mm; as all that follows `None` where it was not known.
    pub x: Vec<Option<f32>>,
    /// Sheet, mm.
    pub y: Vec<Option<f32>>,
    /// The tip above the sheet, mm.
    pub height_mm: Vec<Option<f32>>,
    /// Along the path, mm/s.
    pub speed_mm_s: Vec<Option<f32>>,
    /// At the arc, V.
    pub volts: Vec<Option<f32>>,
    /// The cut, from 1; 0: none.
    pub cut: Vec<u32>,
}

impl Form {
    /// Of a trace of a start.
    #[must_use]
    pub fn of(start: i64, trace: &Trace) -> Self {
        let all = &trace.samples;
        let from = all.first().map_or(Time::ZERO, |s| s.at);
        let column = |of: fn(&Sample) -> Option<f32>| {
            // What is measured is not known to more than two digits behind the point.
            let rounded = |v: f32| (v * 100.0).round() / 100.0;
            all.iter().map(|s| of(s).map(rounded)).collect()
        };
        Self {
            v: VERSION,
            start,
            faults_us: trace.faults.iter().map(|at| at.as_us()).collect(),
            from_us: from.as_us(),
            levels: Level::ALL.to_vec(),
            t_us: (all.iter()).map(|s| s.at.as_us() - from.as_us()).collect(),
            known: all.iter().map(|s| s.levels.known()).collect(),
            on: all.iter().map(|s| s.levels.on()).collect(),
            x: column(|s| s.place.map(|p| p.0)),
            y: column(|s| s.place.map(|p| p.1)),
            height_mm: column(|s| s.height_mm),
            speed_mm_s: column(|s| s.speed_mm_s),
            volts: column(|s| s.volts),
            cut: all.iter().map(|s| s.cut).collect(),
        }
    }
}

/// Which trace a file holds, by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Name {
    /// Which start of the panel, from 1.
    pub start: i64,
    /// The first of its faults, microseconds.
    pub first_us: u64,
    /// The last of them.
    pub last_us: u64,
}

impl Name {
    /// As it is asked for; `None`: that is no name of a trace.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let mut parts = text.strip_prefix("start-")?.split('-');
        let name = Self {
            start: parts.next()?.parse().ok()?,
            first_us: parts.next()?.parse().ok()?,
            last_us: parts.next()?.parse().ok()?,
        };
        // One name, one form: nothing else is looked for in the folder.
        (parts.next().is_none() && name.to_string() == text).then_some(name)
    }

    /// Whether it is the trace of a fault at this moment.
    #[must_use]
    pub fn holds(&self, start: i64, at_us: u64) -> bool {
        self.start == start && (self.first_us..=self.last_us).contains(&at_us)
    }
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "start-{}-{}-{}", self.start, self.first_us, self.last_us)
    }
}

fn folder(state: &Path) -> PathBuf {
    state.join("traces")
}

/// Where a trace lies, compressed.
#[must_use]
pub fn file(state: &Path, name: Name) -> PathBuf {
    folder(state).join(format!("{name}{ENDING}"))
}

/// The traces in a state folder, oldest first.
#[must_use]
pub fn list(state: &Path) -> Vec<Name> {
    let files = fs::read_dir(folder(state)).into_iter().flatten().flatten();
    let mut names: Vec<Name> = files
        .filter_map(|e| Name::read(e.file_name().to_str()?.strip_suffix(ENDING)?))
        .collect();
    names.sort_unstable();
    names
}

/// Writes a trace of a start, and removes those that the rule removes.
///
/// # Errors
/// The disk's.
pub fn keep(state: &Path, start: i64, trace: &Trace) -> std::io::Result<()> {
    let (Some(first), Some(last)) = (trace.faults.first(), trace.faults.last()) else {
        return Ok(());
    };
    let name = Name {
        start,
        first_us: first.as_us(),
        last_us: last.as_us(),
    };
    let text = serde_json::to_vec(&Form::of(start, trace))?;
    fs::create_dir_all(folder(state))?;
    let (there, unfinished) = (
        file(state, name),
        folder(state).join(format!("{name}.unfinished")),
    );
    if let Err(error) = pack(&unfinished, &text).and_then(|()| fs::rename(&unfinished, there)) {
        // On a disk that is full it would take room for good. The error that is told is the first.
        let _ = fs::remove_file(unfinished);
        return Err(error);
    }
    make_room(state, MOST, TOGETHER)
}

fn pack(file: &Path, text: &[u8]) -> std::io::Result<()> {
    let mut packed = GzEncoder::new(fs::File::create(file)?, Compression::fast());
    packed.write_all(text)?;
    packed.finish()?.sync_all()
}

fn make_room(state: &Path, most: usize, together: u64) -> std::io::Result<()> {
    let mut names = list(state);
    names.reverse();
    let mut taken = 0;
    for (k, name) in names.into_iter().enumerate() {
        let path = file(state, name);
        taken += fs::metadata(&path)?.len();
        if k >= most || taken > together {
            fs::remove_file(path)?;
        }
    }
    Ok(())
}

/// The text of a trace.
///
/// # Errors
/// There is none, or it cannot be read, in words.
pub fn read(state: &Path, name: Name) -> Result<Vec<u8>, String> {
    let packed = fs::File::open(file(state, name)).map_err(|e| e.to_string())?;
    let mut text = Vec::new();
    let mut unpacked = GzDecoder::new(packed).take(LARGEST);
    unpacked
        .read_to_end(&mut text)
        .map_err(|e| format!("it is damaged: {e}"))?;
    Ok(text)
}

/// A trace as a table (RFC 4180): a line for each sample, time in s since the first fault. What was not known is
/// empty.
#[must_use]
pub fn csv(form: &Form) -> String {
    let mut out = String::from("t_s");
    let names = form.levels.iter().map(serde_json::to_value);
    for name in names {
        out += &format!(
            ",{}",
            name.ok()
                .and_then(|n| Some(n.as_str()?.to_owned()))
                .unwrap_or_default()
        );
    }
    out += ",x_mm,y_mm,height_mm,speed_mm_s,volts,cut\r\n";
    let zero = form.faults_us.first().copied().unwrap_or(form.from_us) as f64;
    for (k, t_us) in form.t_us.iter().enumerate() {
        let t = (form.from_us as f64 + *t_us as f64 - zero) / 1e6;
        out += &format!("{t:.6}");
        let [known, on] = [&form.known, &form.on].map(|of| of.get(k).copied().unwrap_or(0));
        for bit in 0..form.levels.len() {
            let level = (known >> bit & 1 != 0).then_some(on >> bit & 1);
            out += &format!(",{}", level.map_or(String::new(), |l| l.to_string()));
        }
        for column in [
            &form.x,
            &form.y,
            &form.height_mm,
            &form.speed_mm_s,
            &form.volts,
        ] {
            let value = column.get(k).copied().flatten();
            out += &format!(",{}", value.map_or(String::new(), |v| v.to_string()));
        }
        out += &format!(",{}\r\n", form.cut.get(k).copied().unwrap_or(0));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use control::trace::Levels;

    fn trace(at_s: u64) -> Trace {
        let sample = |k: u64| {
            let mut levels = Levels::default();
            levels.set(Level::Fire, Some(k.is_multiple_of(2)));
            levels.set(Level::EstopOpen, None);
            Sample {
                at: Time::from_ms(at_s * 1000 + k * 10),
                levels,
                place: (k > 0).then_some((1.0 / 3.0, -2.0)),
                volts: Some(118.26),
                cut: 7,
                ..Sample::default()
            }
        };
        Trace {
            faults: vec![Time::from_ms(at_s * 1000), Time::from_ms(at_s * 1000 + 5)],
            samples: (0..3).map(sample).collect(),
        }
    }

    #[test]
    fn what_was_kept_is_read_again() {
        let state = tempfile::tempdir().expect("a folder");
        keep(state.path(), 4, &trace(30)).expect("written");
        let names = list(state.path());
        assert_eq!(names.len(), 1);
        assert_eq!(names[0].to_string(), "start-4-30000000-30005000");
        assert!(names[0].holds(4, 30_003_000));
        assert!(!names[0].holds(4, 30_005_001) && !names[0].holds(3, 30_003_000));
        let text = read(state.path(), names[0]).expect("there");
        let form: Form = serde_json::from_slice(&text).expect("our form");
        assert_eq!(form, Form::of(4, &trace(30)));
        assert_eq!(form.t_us, [0, 10_000, 20_000]);
        assert_eq!(form.x, [None, Some(0.33), Some(0.33)]);
        let fire = 1 << Level::Fire as u16;
        assert_eq!(
            form.on.iter().map(|on| on & fire).collect::<Vec<_>>(),
            [fire, 0, fire]
        );
        assert_eq!(form.known[0] & (1 << Level::EstopOpen as u16), 0);
    }

    #[test]
    fn as_a_table_it_has_a_line_for_each_sample_and_nothing_where_nothing_was_known() {
        let text = csv(&Form::of(4, &trace(30)));
        let lines: Vec<&str> = text.split_terminator("\r\n").collect();
        assert_eq!(
            lines,
            [
                "t_s,fire,arc-ok,contact,permit,hold,moving,estop-open,torch-seated,gate-closed,source-on,air-ok,\
                 x_mm,y_mm,height_mm,speed_mm_s,volts,cut",
                "0.000000,1,,,,,,,,,,,,,,,118.26,7",
                "0.010000,0,,,,,,,,,,,0.33,-2,,,118.26,7",
                "0.020000,1,,,,,,,,,,,0.33,-2,,,118.26,7",
            ]
        );
    }

    #[test]
    fn what_cannot_be_written_leaves_nothing_behind() {
        let state = tempfile::tempdir().expect("a folder");
        // A folder in its place: it can be packed, and not be put there.
        let name = Name::read("start-4-30000000-30005000").expect("a name");
        fs::create_dir_all(file(state.path(), name).join("in the way")).expect("made");
        keep(state.path(), 4, &trace(30)).expect_err("it has no place");
        let left = fs::read_dir(folder(state.path())).expect("there").count();
        assert_eq!(left, 1, "the folder in the way alone");
    }

    #[test]
    fn the_oldest_make_room() {
        let state = tempfile::tempdir().expect("a folder");
        for at_s in [100, 9, 30] {
            keep(state.path(), 1, &trace(at_s)).expect("written");
        }
        make_room(state.path(), 2, TOGETHER).expect("room");
        let left: Vec<u64> = list(state.path()).iter().map(|n| n.first_us).collect();
        assert_eq!(left, [30_000_000, 100_000_000]);
        let one = fs::metadata(file(state.path(), list(state.path())[1]))
            .expect("there")
            .len();
        make_room(state.path(), 2, one).expect("room");
        assert_eq!(list(state.path()).len(), 1, "by their size too");
    }

    #[test]
    fn only_names_of_traces_are_looked_for() {
        for text in [
            "",
            "start-1-2",
            "start-1-2-3-4",
            "start-01-2-3",
            "../start-1-2-3",
            "start-1-2-3/..",
        ] {
            assert_eq!(Name::read(text), None, "{text}");
        }
        let state = tempfile::tempdir().expect("a folder");
        let name = Name::read("start-1-2-3").expect("a name");
        assert!(read(state.path(), name).is_err(), "none is there");
        fs::create_dir_all(folder(state.path())).expect("made");
        fs::write(file(state.path(), name), "no gzip").expect("written");
        let says = read(state.path(), name).expect_err("damaged");
        assert!(says.contains("damaged"), "{says}");
    }
}
