//! One run in one file: what it was made of, what happened, its recording, its curves.
//!
//! The file is a tar archive: `manifest.json` first, with length and SHA-256 of every other member and with what
//! could not be had; `run.json` (the journal's rows of the run, with the versions of the panel) and `run.csv`
//! (the same as a table); `job/...` (program, setup, machine file, dialect, chart: [`super::papers`]);
//! `recordings/start-N.txt.gz`; `traces/....json.gz`. Recordings and traces lie in it as in a state folder, so
//! that it can be replayed when unpacked.
//!
//! **Never**: writes over a file that is there; calls whole what is not: a file that was cut short, or of which a
//! byte was changed, is refused when it is read.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::papers;
use crate::archive::{self, Kind, Member};
use crate::journal::{self, Story, Which, wall};
use crate::{recording, traces};

/// The rows of the run.
const RUN: &str = "run.json";
/// The same as a table.
const TABLE: &str = "run.csv";
/// Most bytes of one member: of a recording.
const MEMBER_BYTES_MAX: u64 = recording::LARGEST;

/// The first member.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Of the form: 1.
    bundle: u32,
    /// Version of the program that made it.
    pub standclear: String,
    /// Wall time, RFC 3339, UTC.
    pub made: String,
    /// Which run.
    pub run: u64,
    /// The seal of its job; `None`: the row that tells has made room.
    pub seal: Option<String>,
    /// What belongs in it and could not be had.
    pub missing: Vec<String>,
    /// All other members, in their order.
    files: Vec<Member>,
}

impl archive::Manifest for Manifest {
    fn files(&self) -> &[Member] {
        &self.files
    }
}

const KIND: Kind<'static> = Kind {
    made_by: "standclear log --bundle",
    holds: &|path| {
        let inside = |folder: &str| {
            let name = path.strip_prefix(folder).and_then(|p| p.strip_prefix('/'));
            name.is_some_and(|name| !name.contains('/'))
        };
        [RUN, TABLE].contains(&path) || ["job", "recordings", "traces"].iter().any(|f| inside(f))
    },
    most: &|_| MEMBER_BYTES_MAX,
};

/// What a bundle holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// The run.
    pub run: u64,
    /// How many files.
    pub files: usize,
    /// How many bytes they have.
    pub bytes: u64,
    /// What belongs in it and could not be had.
    pub missing: Vec<String>,
}

/// Writes a run into a new file `to`. The panel may run meanwhile.
///
/// # Errors
/// What could not be read or written, and what to do.
pub fn make(state: &Path, run: u64, to: &Path) -> Result<Made, String> {
    make_of(state, Which::Run(run), to)
}

/// The same of the run that is asked for.
///
/// # Errors
/// As [`make`].
pub fn make_of(state: &Path, which: Which, to: &Path) -> Result<Made, String> {
    let story = journal::read(state, which).map_err(|e| e.to_string())?;
    let run = story
        .run
        .ok_or("a bundle is of one run. Name it with --run")?;
    let work = archive::beside(to)?;
    let mut missing = Vec::new();
    let mut sources = told(&story, work.path())?;
    let seal = seal_of(&story);
    let papers = seal.as_ref().map(|s| papers::files(state, s));
    match papers.filter(|files| !files.is_empty()) {
        Some(files) => {
            sources.extend(
                files
                    .into_iter()
                    .map(|(name, file)| (format!("job/{name}"), file)),
            );
        }
        None => missing.push("what the job was made of is no longer kept".to_owned()),
    }
    recordings(state, &story, &mut sources, &mut missing);
    for name in traces::list(state) {
        if (story.events.iter()).any(|e| name.holds(e.start, e.clock_us)) {
            sources.push((format!("traces/{name}.json.gz"), traces::file(state, name)));
        }
    }
    for gap in &story.gaps {
        missing.push(format!("{} events of the journal: {}", gap.lost, gap.why));
    }
    let mut files = Vec::new();
    for (path, file) in &sources {
        files.push(archive::member(path, file)?);
    }
    let manifest = Manifest {
        bundle: 1,
        standclear: env!("CARGO_PKG_VERSION").to_owned(),
        made: wall::now(),
        run,
        seal,
        missing,
        files,
    };
    let half = work.path().join("run.tar");
    archive::write(&half, &manifest, &sources)?;
    archive::put_in_place(&half, to)?;
    Ok(Made {
        run,
        files: manifest.files.len(),
        bytes: manifest.files.iter().map(|m| m.bytes).sum(),
        missing: manifest.missing,
    })
}

/// The rows of the run, as files in a folder of work.
fn told(story: &Story, work: &Path) -> Result<Vec<(String, PathBuf)>, String> {
    let json = serde_json::to_string_pretty(story).map_err(|e| e.to_string())?;
    let mut sources = Vec::new();
    for (name, text) in [(RUN, json), (TABLE, journal::csv(story))] {
        let file = work.join(name);
        std::fs::write(&file, text).map_err(|e| {
            format!(
                "{}: cannot be written: {e}. Look at the disk's room",
                file.display()
            )
        })?;
        sources.push((name.to_owned(), file));
    }
    Ok(sources)
}

fn recordings(
    state: &Path,
    story: &Story,
    sources: &mut Vec<(String, PathBuf)>,
    missing: &mut Vec<String>,
) {
    for start in &story.starts {
        let file = recording::file(state, start.start);
        let name = file.file_name().and_then(|n| n.to_str());
        match name.filter(|_| file.is_file()) {
            Some(name) => sources.push((format!("recordings/{name}"), file.clone())),
            None => missing.push(format!(
                "the recording of start {} is no longer kept",
                start.start
            )),
        }
    }
}

fn seal_of(story: &Story) -> Option<String> {
    let mut began = story.events.iter().filter(|e| e.name == "run-started");
    Some(began.next()?.fields.get("seal")?.as_str()?.to_owned())
}

/// Reads a bundle whole into a folder, and holds every member against the manifest.
///
/// # Errors
/// It is cut short, changed, or none, in words.
pub fn read(from: &Path, into: &Path) -> Result<(Manifest, Story), String> {
    let manifest: Manifest = archive::read(from, into, &KIND)?;
    let wrong = |says: String| format!("{}: {says}", from.display());
    if manifest.bundle != 1 {
        let says = format!(
            "is of form {}, and this program reads form 1",
            manifest.bundle
        );
        return Err(wrong(says));
    }
    let text = std::fs::read(into.join(RUN)).map_err(|e| wrong(format!("{RUN}: {e}")))?;
    let story = serde_json::from_slice(&text).map_err(|e| wrong(format!("{RUN}: {e}")))?;
    Ok((manifest, story))
}
