//! An archive (tar, POSIX.1-2001 ustar), written and read: its first member is a manifest that names, measures
//! and hashes every other. A backup is one, the bundle of a run another.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::path::{Component, Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// The name of the first member.
const MANIFEST: &str = "manifest.json";
/// Longest manifest, bytes: some ten thousand members.
const MANIFEST_BYTES_MAX: u64 = 4 << 20;
/// Read and written in pieces of this, bytes.
const PIECE: usize = 64 << 10;

/// A member of an archive.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Member {
    /// Its path in the archive.
    pub path: String,
    /// Its length.
    pub bytes: u64,
    /// Its SHA-256, lower case hex.
    pub sha256: String,
}

/// The first member.
pub(crate) trait Manifest: Serialize + DeserializeOwned {
    /// All other members, in their order.
    fn files(&self) -> &[Member];
}

/// What an archive must be like to be read.
pub(crate) struct Kind<'a> {
    /// What makes such files, as a command.
    pub made_by: &'a str,
    /// Whether a member may stand at this path.
    pub holds: &'a dyn Fn(&str) -> bool,
    /// The longest that this member may be, bytes.
    pub most: &'a dyn Fn(&str) -> u64,
}

/// A member as it is named in the manifest.
pub(crate) fn member(path: &str, file: &Path) -> Result<Member, String> {
    let wrong = |says: String| format!("{}: {says}. Let this user read it", file.display());
    let mut from = File::open(file).map_err(|e| wrong(format!("cannot be opened: {e}")))?;
    let about = from.metadata().map_err(|e| wrong(e.to_string()))?;
    if !about.is_file() {
        return Err(format!("{}: is no regular file. Name one", file.display()));
    }
    let (mut hash, mut bytes) = (Sha256::new(), 0);
    let mut piece = vec![0; PIECE];
    loop {
        let n = from
            .read(&mut piece)
            .map_err(|e| wrong(format!("cannot be read: {e}")))?;
        if n == 0 {
            break;
        }
        hash.update(&piece[..n]);
        bytes += n as u64;
    }
    Ok(Member {
        path: path.to_owned(),
        bytes,
        sha256: hex(&hash.finalize()),
    })
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// Writes an archive whole and to the disk.
pub(crate) fn write<M: Manifest>(
    to: &Path,
    manifest: &M,
    sources: &[(String, PathBuf)],
) -> Result<(), String> {
    let written = || -> std::io::Result<()> {
        let mut all = tar::Builder::new(File::create_new(to)?);
        let head = serde_json::to_vec_pretty(manifest)?;
        all.append_data(&mut header(head.len() as u64), MANIFEST, head.as_slice())?;
        for (member, (path, file)) in manifest.files().iter().zip(sources) {
            let from = File::open(file)?.take(member.bytes);
            all.append_data(&mut header(member.bytes), path, from)?;
        }
        let mut file = all.into_inner()?;
        file.flush()?;
        file.sync_all()
    };
    written().map_err(|e| {
        format!(
            "{}: cannot be written: {e}. Look at the disk's room",
            to.display()
        )
    })
}

fn header(bytes: u64) -> tar::Header {
    let mut header = tar::Header::new_ustar();
    header.set_size(bytes);
    header.set_mode(0o644);
    header
}

/// Reads an archive whole into a folder and holds every member against the manifest.
pub(crate) fn read<M: Manifest>(from: &Path, into: &Path, kind: &Kind<'_>) -> Result<M, String> {
    let wrong = |says: String| {
        format!(
            "{}: {says}. Name a file that `{}` has made",
            from.display(),
            kind.made_by
        )
    };
    let file = File::open(from).map_err(|e| wrong(format!("cannot be opened: {e}")))?;
    if !file.metadata().is_ok_and(|m| m.is_file()) {
        return Err(wrong("is no regular file".into()));
    }
    let broken = |e: std::io::Error| wrong(format!("is no whole archive: {e}"));
    let mut all = tar::Archive::new(file);
    let mut entries = all.entries().map_err(broken)?;
    let mut first = entries
        .next()
        .ok_or_else(|| wrong("is empty".into()))?
        .map_err(broken)?;
    if first.path().map_err(broken)?.as_ref() != Path::new(MANIFEST) {
        return Err(wrong(format!("does not begin with {MANIFEST}")));
    }
    if first.size() > MANIFEST_BYTES_MAX {
        return Err(wrong(format!("its {MANIFEST} is too long")));
    }
    let mut text = Vec::new();
    first.read_to_end(&mut text).map_err(broken)?;
    let manifest: M = serde_json::from_slice(&text)
        .map_err(|e| wrong(format!("its {MANIFEST} cannot be read: {e}")))?;
    let mut expected = manifest.files().iter();
    for entry in entries {
        let mut entry = entry.map_err(broken)?;
        let member = expected
            .next()
            .ok_or_else(|| wrong("holds more than its manifest names".into()))?;
        if entry.path().map_err(broken)?.as_ref() != Path::new(&member.path)
            || !entry.header().entry_type().is_file()
        {
            return Err(wrong(format!("lacks {} in its place", member.path)));
        }
        let to = into.join(inside(&member.path, kind).ok_or_else(|| {
            wrong(format!(
                "names {:?}, which does not belong there",
                member.path
            ))
        })?);
        if member.bytes > (kind.most)(&member.path) {
            return Err(wrong(format!("{} is too long", member.path)));
        }
        unpack(&mut entry, &to).map_err(broken)?;
        let found = self::member(&member.path, &to)?;
        if found != *member {
            return Err(wrong(format!("{} is not as it was put in", member.path)));
        }
    }
    match expected.next() {
        Some(member) => Err(wrong(format!("ends before {}", member.path))),
        None => Ok(manifest),
    }
}

fn unpack(entry: &mut impl std::io::Read, to: &Path) -> std::io::Result<()> {
    if let Some(folder) = to.parent() {
        std::fs::create_dir_all(folder)?;
    }
    let mut file = File::create_new(to)?;
    std::io::copy(entry, &mut file)?;
    file.sync_all()
}

/// A member's path where it may stand, without a step out of it.
fn inside<'a>(path: &'a str, kind: &Kind<'_>) -> Option<&'a Path> {
    let as_path = Path::new(path);
    let plain = as_path
        .components()
        .all(|c| matches!(c, Component::Normal(_)));
    ((kind.holds)(path) && plain).then_some(as_path)
}

/// A folder of work beside a file that is to be made.
pub(crate) fn beside(file: &Path) -> Result<tempfile::TempDir, String> {
    let folder = match file.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    tempfile::Builder::new()
        .prefix(".standclear-")
        .tempdir_in(folder)
        .map_err(|e| {
            format!(
                "{}: nothing can be written there: {e}. Name a file in a folder that can be written",
                folder.display()
            )
        })
}

/// Gives a file that is whole its place: whole or not at all, and never over another file.
pub(crate) fn put_in_place(half: &Path, to: &Path) -> Result<(), String> {
    std::fs::hard_link(half, to).map_err(|e| {
        let remedy = match e.kind() {
            std::io::ErrorKind::AlreadyExists => "Name a file that is not there yet",
            _ => "Name a file in a folder that can be written",
        };
        format!("{}: cannot be made: {e}. {remedy}", to.display())
    })
}
