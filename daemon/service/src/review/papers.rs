//! What a job was made of, kept beside the journal for each job that was loaded: program, setup, machine file,
//! dialect, chart. The journal and the recording have its seal; here is what the seal was made over.
//!
//! **Form**: a folder `jobs/SEAL` with a file for each, the program compressed (gzip, RFC 1952).
//! **The rule**: the newest [`MOST`] are kept, and of these as many as take [`TOGETHER`]. What cannot be written
//! keeps nobody from cutting: the bundle of the run then says what it lacks.
//! **If the power goes**: a folder is there whole or not at all.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use flate2::Compression;
use flate2::write::GzEncoder;
use planning::Prepared;

use crate::config::Config;

/// Jobs that are kept: a shop's jobs of months.
const MOST: usize = 200;
/// Bytes of all of them.
const TOGETHER: u64 = 128 << 20;

/// The folder of a job, by its seal; `None`: that is no seal.
#[must_use]
pub fn folder(state: &Path, seal: &str) -> Option<PathBuf> {
    let sound = seal.len() == 64 && seal.bytes().all(|b| b.is_ascii_hexdigit());
    sound.then(|| state.join("jobs").join(seal))
}

/// Keeps what a job was made of, or logs why not.
pub fn keep(state: &Path, seal: &str, prepared: &Prepared, config: &Config) {
    if let Err(error) = kept(state, seal, prepared, config, MOST, TOGETHER) {
        tracing::warn!(%error, "what the job is made of is not kept: the bundle of its runs will lack it");
    }
}

fn kept(
    state: &Path,
    seal: &str,
    prepared: &Prepared,
    config: &Config,
    most: usize,
    together: u64,
) -> io::Result<()> {
    let Some(there) = folder(state, seal) else {
        return Err(io::Error::other(format!("{seal:?} is no seal")));
    };
    if there.is_dir() {
        return Ok(());
    }
    let all = state.join("jobs");
    fs::create_dir_all(&all)?;
    let work = tempfile::Builder::new()
        .prefix(".unfinished-")
        .tempdir_in(&all)?;
    let mut packed = GzEncoder::new(
        fs::File::create(work.path().join("program.gz"))?,
        Compression::fast(),
    );
    packed.write_all(&prepared.text)?;
    packed.finish()?.sync_all()?;
    let setup = prepared.setup.as_ref();
    let setup = setup.map(toml::to_string).transpose();
    let setup = setup.map_err(io::Error::other)?.unwrap_or_default();
    for (name, text) in [
        ("setup.toml", setup.into_bytes()),
        ("machine.toml", config.text.clone().into_bytes()),
        (
            "dialect.toml",
            config.link.dialect.source().as_bytes().to_vec(),
        ),
        ("chart.json", serde_json::to_vec_pretty(&config.chart)?),
    ] {
        let mut file = fs::File::create(work.path().join(name))?;
        file.write_all(&text)?;
        file.sync_all()?;
    }
    fs::rename(work.path(), there)?;
    make_room(&all, most, together)
}

/// The files of a kept job by name; nothing: there is none.
#[must_use]
pub fn files(state: &Path, seal: &str) -> Vec<(String, PathBuf)> {
    let Some(folder) = folder(state, seal) else {
        return Vec::new();
    };
    let listed = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut files: Vec<(String, PathBuf)> = listed
        .filter(|e| e.file_type().is_ok_and(|t| t.is_file()))
        .filter_map(|e| Some((e.file_name().into_string().ok()?, e.path())))
        .collect();
    files.sort();
    files
}

fn make_room(all: &Path, most: usize, together: u64) -> io::Result<()> {
    let mut jobs: Vec<(SystemTime, u64, PathBuf)> = Vec::new();
    for job in fs::read_dir(all)?.flatten() {
        let bytes = fs::read_dir(job.path()).into_iter().flatten().flatten();
        let bytes = bytes
            .filter_map(|f| f.metadata().ok())
            .map(|m| m.len())
            .sum();
        jobs.push((job.metadata()?.modified()?, bytes, job.path()));
    }
    jobs.sort_by(|a, b| b.cmp(a));
    let mut taken = 0;
    for (k, (_, bytes, path)) in jobs.into_iter().enumerate() {
        taken += bytes;
        // The newest stays however large it is: it is on the table.
        if k > 0 && (k >= most || taken > together) {
            fs::remove_dir_all(path)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn prepared(config: &Config) -> Prepared {
        let demo = crate::library::demo("hinge-plates").expect("built in");
        crate::job::prepare(config, &demo.name, &demo.text, Some(demo.setup))
    }

    #[test]
    fn what_a_job_was_made_of_is_kept_once_and_can_be_used_again() {
        let (state, config) = (tempfile::tempdir().expect("a folder"), Config::built_in());
        let prepared = prepared(&config);
        let seal = "ab".repeat(32);
        for _ in 0..2 {
            kept(state.path(), &seal, &prepared, &config, 9, u64::MAX).expect("kept");
        }
        let files = files(state.path(), &seal);
        let names: Vec<&str> = files.iter().map(|(n, _)| n.as_str()).collect();
        assert_eq!(
            names,
            [
                "chart.json",
                "dialect.toml",
                "machine.toml",
                "program.gz",
                "setup.toml"
            ]
        );
        let text = fs::read_to_string(&files[4].1).expect("a setup");
        assert_eq!(
            Some(program::Setup::from_toml(&text).expect("it reads its own")),
            prepared.setup
        );
    }

    #[test]
    fn the_oldest_make_room_and_the_newest_stays() {
        let (state, config) = (tempfile::tempdir().expect("a folder"), Config::built_in());
        let prepared = prepared(&config);
        for n in 0..4 {
            let seal = format!("{n}").repeat(64);
            kept(state.path(), &seal, &prepared, &config, 2, u64::MAX).expect("kept");
            std::fs::File::open(folder(state.path(), &seal).expect("a seal"))
                .and_then(|f| {
                    f.set_modified(SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(n))
                })
                .expect("dated");
        }
        let there = |n: u32| !files(state.path(), &format!("{n}").repeat(64)).is_empty();
        assert_eq!([0, 1, 2, 3].map(there), [false, false, true, true]);
        kept(state.path(), &"a".repeat(64), &prepared, &config, 9, 1).expect("kept");
        assert!(!there(3) && !files(state.path(), &"a".repeat(64)).is_empty());
    }

    #[test]
    fn what_is_no_seal_is_no_folder() {
        for seal in ["", "..", "../../etc", &"g".repeat(64), &"a".repeat(63)] {
            assert_eq!(folder(Path::new("/s"), seal), None, "{seal}");
        }
    }
}
