//! The serial port's name, and how long its adapter gathers what comes in.

use std::fs;
use std::path::{Path, PathBuf};

use super::Found;

/// Where the system keeps names of serial ports that do not change with the order of plugging in.
const BY_ID: &str = "dev/serial/by-id";
/// An adapter may gather what comes in for so long, ms (ours): HOLD's answer is late by as much.
const GATHERS_MS: u64 = 2;

/// What is said of a port's name: whether it stays, or a better one. `root`: of the file system.
pub(super) fn name(port: &Path, root: &Path) -> String {
    let folder = root.join(BY_ID);
    if port.starts_with(&folder) {
        return ", named by its id".into();
    }
    match by_id(port, &folder) {
        Some(id) => format!(
            ". Better name it {} at link.port: that name stays whatever else is plugged in",
            id.display()
        ),
        None => String::new(),
    }
}

/// The name by id that leads to the same device.
fn by_id(port: &Path, folder: &Path) -> Option<PathBuf> {
    let device = fs::canonicalize(port).ok()?;
    let mut ids: Vec<PathBuf> = fs::read_dir(folder)
        .ok()?
        .filter_map(|entry| entry.ok().map(|e| e.path()))
        .filter(|id| fs::canonicalize(id).is_ok_and(|to| to == device))
        .collect();
    ids.sort();
    ids.into_iter().next()
}

/// How long the adapter gathers what comes in; nothing where its driver does not tell.
pub(super) fn latency(port: &Path, root: &Path) -> Option<Found> {
    let device = fs::canonicalize(port).ok()?;
    let tty = device.file_name()?;
    let told = root
        .join("sys/class/tty")
        .join(tty)
        .join("device/latency_timer");
    let ms: u64 = fs::read_to_string(&told).ok()?.trim().parse().ok()?;
    let says = format!("the adapter gathers what comes in for {ms} ms");
    Some(Found {
        what: "serial adapter",
        expected: "what comes in is handed on within 2 ms",
        how: if ms <= GATHERS_MS {
            Ok(says)
        } else {
            Err((
                says,
                format!(
                    "Write 1 to {} (a udev rule with ATTR{{latency_timer}}=\"1\" keeps it so)",
                    told.display()
                ),
            ))
        },
    })
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    #[test]
    fn a_name_that_stays_is_preferred_and_an_adapter_that_gathers_is_told() {
        let folder = tempfile::tempdir().expect("a folder");
        let root = folder.path().canonicalize().expect("it is there");
        let (ids, port) = (root.join(BY_ID), root.join("dev/ttyUSB7"));
        fs::create_dir_all(&ids).expect("made");
        fs::write(&port, "").expect("made");
        assert_eq!(name(&port, &root), "");
        let id = ids.join("usb-invented_adapter_0001-if00-port0");
        symlink("../../ttyUSB7", &id).expect("made");
        symlink("../../ttyUSB8", ids.join("usb-another")).expect("made");
        assert!(name(&port, &root).contains("invented_adapter_0001"));
        assert_eq!(name(&id, &root), ", named by its id");
        assert_eq!(latency(&id, &root), None, "its driver does not tell");
        let of = root.join("sys/class/tty/ttyUSB7/device");
        fs::create_dir_all(&of).expect("made");
        for (ms, good) in [
            ("1\n", true),
            ("2\n", true),
            ("3\n", false),
            ("16\n", false),
        ] {
            fs::write(of.join("latency_timer"), ms).expect("written");
            let found = latency(&id, &root).expect("told");
            assert_eq!(found.how.is_ok(), good, "{ms}");
        }
        fs::write(of.join("latency_timer"), "soon").expect("written");
        assert_eq!(latency(&id, &root), None);
    }
}
