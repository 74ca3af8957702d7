//! From the machine's task to the journal's writer: every step, in bounded memory.
//!
//! The task only puts lines behind others under a lock that the writer holds for as long as it
//! takes to swap two pointers. What the writer has not taken is bounded: beyond that the recording
//! is stopped, and says so, rather than that the machine waits.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use control::{Effects, Input, Job};
use units::Time;

use super::form::{Beginning, Done, HEADING, Line, Shortener};

/// Bytes that may wait for the writer: seconds of the busiest cut.
const WAITING: usize = 8 << 20;
/// A recording that has come to this is stopped: some days of one start of the panel.
const LARGEST: u64 = 512 << 20;
/// Recordings of one folder together: beyond it the oldest are removed when a new one begins.
const TOGETHER: u64 = 2 * LARGEST;

/// Where the recordings lie in the state folder.
#[must_use]
pub fn folder(state: &Path) -> PathBuf {
    state.join("recordings")
}

/// The recording of one start of the panel.
#[must_use]
pub fn file(state: &Path, start: i64) -> PathBuf {
    folder(state).join(format!("start-{start}.txt"))
}

/// What lies between task and writer.
#[derive(Debug, Default)]
pub struct Tape(Mutex<Waiting>);

#[derive(Debug, Default)]
struct Waiting {
    pieces: Vec<Piece>,
    bytes: usize,
    stopped: bool,
}

#[derive(Debug)]
enum Piece {
    Text(Vec<u8>),
    /// Written out by the writer: it may be large.
    Job(Arc<Job>),
}

impl Tape {
    fn with<T>(&self, act: impl FnOnce(&mut Waiting) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn take(&self) -> Vec<Piece> {
        self.with(|w| {
            w.bytes = 0;
            std::mem::take(&mut w.pieces)
        })
    }
}

impl Waiting {
    fn text(&mut self, line: &Line) {
        if self.stopped {
            return;
        }
        // A line that has no form would leave a hole: that is an end, too.
        let stop = match serde_json::to_vec(line) {
            Ok(text) if self.bytes + text.len() <= WAITING => {
                self.put(&text);
                return;
            }
            Ok(_) => Line::Stopped("the disk did not keep up".into()),
            Err(error) => Line::Stopped(format!("a step has no form on disk: {error}")),
        };
        self.stopped = true;
        if let Ok(text) = serde_json::to_vec(&stop) {
            self.put(&text);
        }
    }

    fn put(&mut self, line: &[u8]) {
        self.bytes += line.len() + 1;
        if !matches!(self.pieces.last(), Some(Piece::Text(_))) {
            self.pieces.push(Piece::Text(Vec::new()));
        }
        if let Some(Piece::Text(text)) = self.pieces.last_mut() {
            text.extend_from_slice(line);
            text.push(b'\n');
        }
    }
}

/// The task's end.
#[derive(Debug, Default)]
pub struct Recorder {
    tape: Arc<Tape>,
    shortener: Shortener,
}

impl Recorder {
    /// Records onto this tape.
    #[must_use]
    pub fn new(tape: Arc<Tape>) -> Self {
        Self {
            tape,
            shortener: Shortener::default(),
        }
    }

    /// Records nothing: there is no file to record to.
    #[must_use]
    pub fn off() -> Self {
        let recorder = Self::default();
        recorder.tape.with(|w| w.stopped = true);
        recorder
    }

    /// Before the machine is stepped. Never waits.
    pub fn input(&mut self, at: Time, input: &Input) {
        let (job, line) = self.shortener.lines(at, input);
        self.tape.with(|w| {
            if let Some(job) = job.filter(|_| !w.stopped) {
                w.pieces.push(Piece::Job(job));
            }
            w.text(&line);
        });
    }

    /// After the machine was stepped, before anything is carried out. Never waits.
    pub fn effects(&mut self, effects: &Effects) {
        if effects.0.is_empty() {
            return;
        }
        let line = Line::Out(effects.0.iter().map(Done::from).collect());
        self.tape.with(|w| w.text(&line));
    }

    /// The panel ends in order.
    pub fn end(&mut self) {
        self.tape.with(|w| w.text(&Line::End));
    }
}

/// The writer's end: the file.
#[derive(Debug)]
pub struct Reel {
    tape: Arc<Tape>,
    path: PathBuf,
    file: Option<File>,
    written: u64,
    largest: u64,
}

impl Reel {
    /// Begins a recording, and removes the oldest if there are too many.
    ///
    /// # Errors
    /// The file could not be made.
    pub fn begin(state: &Path, beginning: &Beginning, tape: Arc<Tape>) -> std::io::Result<Self> {
        let path = file(state, beginning.start);
        std::fs::create_dir_all(folder(state))?;
        make_room(&folder(state), TOGETHER - LARGEST)?;
        let mut made = File::create(&path)?;
        let mut text = serde_json::to_vec(beginning)?;
        text.push(b'\n');
        writeln!(made, "{HEADING}")?;
        made.write_all(&text)?;
        Ok(Self {
            tape,
            path,
            written: text.len() as u64,
            file: Some(made),
            largest: LARGEST,
        })
    }

    /// Writes what waits. After it returns, a killed process leaves it in the file. Called before
    /// every commit of the journal, so that no event is on the disk without the step that made it.
    pub fn write(&mut self) {
        let pieces = self.tape.take();
        let Some(file) = &mut self.file else {
            return;
        };
        let mut done = Ok(());
        for piece in pieces {
            let text = match piece {
                Piece::Text(text) => Ok(text),
                Piece::Job(job) => serde_json::to_vec(&Line::Job(job)).map(|mut text| {
                    text.push(b'\n');
                    text
                }),
            };
            done = text.map_err(Into::into).and_then(|text| {
                self.written += text.len() as u64;
                file.write_all(&text)
            });
            if done.is_err() {
                break;
            }
        }
        let full = self.written > self.largest;
        if full {
            let stopped = Line::Stopped("the recording has come to its greatest size".into());
            done = done.and(serde_json::to_writer(&mut *file, &stopped).map_err(Into::into));
            done = done.and(writeln!(file));
        }
        if let Err(error) = &done {
            tracing::warn!(%error, file = %self.path.display(), "the recording cannot be written: this start can be replayed up to here");
        }
        if full || done.is_err() {
            self.file = None;
            self.tape.with(|w| w.stopped = true);
        }
    }
}

/// Removes the oldest recordings until the rest takes no more than `room`.
fn make_room(folder: &Path, room: u64) -> std::io::Result<()> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let start = name
            .strip_prefix("start-")
            .and_then(|n| n.strip_suffix(".txt"))
            .and_then(|n| n.parse::<i64>().ok());
        if let Some(start) = start {
            all.push((start, entry.path(), entry.metadata()?.len()));
        }
    }
    all.sort_by_key(|(start, ..)| std::cmp::Reverse(*start));
    let mut taken = 0;
    for (_, path, size) in all {
        taken += size;
        if taken > room {
            std::fs::remove_file(&path)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use control::{Restored, Settings};

    fn beginning() -> Beginning {
        let config = crate::config::Config::built_in();
        let settings: Settings = crate::assemble::settings(&config);
        Beginning {
            version: "test".into(),
            start: 3,
            settings,
            dialect: config.link.dialect.source().to_owned(),
            restored: Restored::default(),
        }
    }

    fn lines(state: &Path) -> Vec<String> {
        std::fs::read_to_string(file(state, 3))
            .expect("a recording")
            .lines()
            .map(str::to_owned)
            .collect()
    }

    #[test]
    fn a_step_is_in_the_file_once_the_writer_has_been_by() {
        let state = tempfile::tempdir().expect("a folder");
        let tape = Arc::new(Tape::default());
        let mut reel = Reel::begin(state.path(), &beginning(), Arc::clone(&tape)).expect("a file");
        let mut recorder = Recorder::new(tape);
        recorder.input(Time::from_us(5), &Input::Tick);
        recorder.effects(&Effects(vec![control::Effect::Publish]));
        assert_eq!(lines(state.path()).len(), 2);
        reel.write();
        assert_eq!(
            lines(state.path())[2..],
            [r#"{"in":[5,"tick"]}"#, r#"{"out":["publish"]}"#]
        );
    }

    #[test]
    fn a_writer_that_does_not_come_by_bounds_what_waits_and_the_end_is_told() {
        let state = tempfile::tempdir().expect("a folder");
        let tape = Arc::new(Tape::default());
        let mut reel = Reel::begin(state.path(), &beginning(), Arc::clone(&tape)).expect("a file");
        let mut recorder = Recorder::new(Arc::clone(&tape));
        let bytes = vec![b'x'; 1 << 20];
        for _ in 0..20 {
            let bytes = bytes.clone();
            recorder.input(Time::ZERO, &Input::Bytes { bytes });
        }
        assert!(tape.with(|w| w.bytes) <= WAITING + 100);
        reel.write();
        recorder.input(Time::ZERO, &Input::Tick);
        reel.write();
        let lines = lines(state.path());
        assert_eq!(
            lines.last().map(String::as_str),
            Some(r#"{"stopped":"the disk did not keep up"}"#)
        );
    }

    #[test]
    fn a_recording_stops_at_its_greatest_size_and_says_so() {
        let state = tempfile::tempdir().expect("a folder");
        let tape = Arc::new(Tape::default());
        let mut reel = Reel::begin(state.path(), &beginning(), Arc::clone(&tape)).expect("a file");
        reel.largest = reel.written + 10;
        let mut recorder = Recorder::new(tape);
        for _ in 0..3 {
            recorder.input(Time::ZERO, &Input::Tick);
            reel.write();
        }
        let lines = lines(state.path());
        assert_eq!(lines.len(), 4, "{lines:?}");
        assert!(lines[3].contains("stopped"), "{lines:?}");
    }

    #[test]
    fn the_oldest_recordings_make_room_for_the_new() {
        let folder = tempfile::tempdir().expect("a folder");
        for start in [2, 9, 10, 11] {
            let path = folder.path().join(format!("start-{start}.txt"));
            std::fs::write(path, [0; 100]).expect("a file");
        }
        std::fs::write(folder.path().join("notes.txt"), [0; 1000]).expect("a file");
        make_room(folder.path(), 250).expect("room");
        let mut left: Vec<_> = std::fs::read_dir(folder.path())
            .expect("a folder")
            .filter_map(|e| e.ok()?.file_name().into_string().ok())
            .collect();
        left.sort();
        assert_eq!(left, ["notes.txt", "start-10.txt", "start-11.txt"]);
    }
}
