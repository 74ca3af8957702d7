//! From the machine's task to the journal's writer: every step, in bounded memory.
//!
//! The task only puts lines behind others under a lock that the writer holds for as long as it
//! takes to swap two pointers. What the writer has not taken is bounded: beyond that the recording
//! is stopped, and says so, rather than that the machine waits. The file is compressed as it is written
//! (gzip, RFC 1952), each time up to a place from which a reader gets everything before it.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use control::{Effects, Input};
use flate2::Compression;
use flate2::write::GzEncoder;
use planning::Job;
use units::Time;

use super::form::{Beginning, Done, HEADING, Line, Shortener};
use super::keeping;

/// Bytes that may wait for the writer: seconds of the busiest cut.
const WAITING: usize = 8 << 20;
/// After so many further bytes room is made while the panel runs.
const LOOK_AFTER: u64 = 4 << 20;

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

/// A file that counts what went into it.
#[derive(Debug)]
struct Counting {
    file: File,
    bytes: u64,
}

impl Write for Counting {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let n = self.file.write(bytes)?;
        self.bytes += n as u64;
        Ok(n)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.file.flush()
    }
}

/// The writer's end: the file.
#[derive(Debug)]
pub struct Reel {
    tape: Arc<Tape>,
    state: PathBuf,
    start: i64,
    file: Option<GzEncoder<Counting>>,
    largest: u64,
    /// Room is made when the file has come to this.
    look_at: u64,
    /// The start saw a stop: its mark stays.
    stopped: bool,
}

impl Reel {
    /// Begins a recording, and removes others as the rule says (see [`super::keeping`]).
    ///
    /// # Errors
    /// The file could not be made.
    pub fn begin(state: &Path, beginning: &Beginning, tape: Arc<Tape>) -> std::io::Result<Self> {
        let (folder, start) = (keeping::folder(state), beginning.start);
        std::fs::create_dir_all(&folder)?;
        // What this start takes itself is made room for as it grows.
        keeping::make_room(state, start)?;
        let path = folder.join(format!("start-{start}{}", keeping::PACKED));
        let file = Counting {
            file: File::create(&path)?,
            bytes: 0,
        };
        keeping::set_mark(state, start)?;
        let mut file = GzEncoder::new(file, Compression::fast());
        let mut text = serde_json::to_vec(beginning)?;
        text.push(b'\n');
        writeln!(file, "{HEADING}")?;
        file.write_all(&text)?;
        file.flush()?;
        Ok(Self {
            tape,
            state: state.to_path_buf(),
            start,
            file: Some(file),
            largest: keeping::LARGEST,
            look_at: LOOK_AFTER,
            stopped: false,
        })
    }

    /// A stop was recorded: this start is kept for longer than those that go well.
    pub fn stopped(&mut self) {
        self.stopped = true;
    }

    /// Writes what waits. After it returns, a killed process leaves it in the file. Called before
    /// every commit of the journal, so that no event is on the disk without the step that made it.
    pub fn write(&mut self) {
        let pieces = self.tape.take();
        let Some(file) = &mut self.file else {
            return;
        };
        if pieces.is_empty() {
            return;
        }
        let mut done = write_all(file, pieces).and_then(|()| file.flush());
        let bytes = file.get_ref().bytes;
        let full = bytes > self.largest;
        if full {
            let stopped = Line::Stopped("the recording has come to its greatest size".into());
            done = done.and(serde_json::to_writer(&mut *file, &stopped).map_err(Into::into));
            done = done.and(writeln!(file)).and(file.try_finish());
        }
        if let Err(error) = &done {
            tracing::warn!(%error, start = self.start, "the recording cannot be written: this start can be replayed up to here");
        }
        if full || done.is_err() {
            self.file = None;
            self.tape.with(|w| w.stopped = true);
        } else if bytes >= self.look_at {
            self.look_at = bytes + LOOK_AFTER;
            if let Err(error) = keeping::make_room(&self.state, self.start) {
                tracing::warn!(%error, "no room can be made among the recordings");
            }
        }
    }

    /// The panel ends in order, and all that waits has been written.
    pub fn end(&mut self) {
        let ended = self.file.take().map(GzEncoder::finish);
        if matches!(ended, Some(Ok(_))) && !self.stopped {
            keeping::take_mark(&self.state, self.start);
        }
    }
}

fn write_all(file: &mut impl Write, pieces: Vec<Piece>) -> std::io::Result<()> {
    for piece in pieces {
        match piece {
            Piece::Text(text) => file.write_all(&text)?,
            Piece::Job(job) => {
                let mut text = serde_json::to_vec(&Line::Job(job))?;
                text.push(b'\n');
                file.write_all(&text)?;
            }
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
        super::super::text(&keeping::file(state, 3))
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
        reel.largest = 10;
        let mut recorder = Recorder::new(tape);
        for _ in 0..3 {
            recorder.input(Time::ZERO, &Input::Tick);
            reel.write();
        }
        let lines = lines(state.path());
        // Heading, beginning, one input, and the word that there is no more.
        assert_eq!(lines.len(), 4, "{lines:?}");
        assert!(lines[3].contains("stopped"), "{lines:?}");
    }

    #[test]
    fn a_start_keeps_its_mark_unless_it_ends_in_order_and_saw_no_stop() {
        for (stop, end, kept) in [
            (false, true, false),
            (true, true, true),
            (false, false, true),
        ] {
            let state = tempfile::tempdir().expect("a folder");
            let tape = Arc::new(Tape::default());
            let mut reel = Reel::begin(state.path(), &beginning(), tape).expect("a file");
            if stop {
                reel.stopped();
            }
            if end {
                reel.write();
                reel.end();
            }
            drop(reel);
            let mark = keeping::folder(state.path()).join("start-3.stopped");
            assert_eq!(mark.exists(), kept, "{stop} {end}");
        }
    }
}
