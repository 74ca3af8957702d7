//! Wall time as RFC 3339 text, and whether it is sure. It labels rows for people and decides nothing.

use std::path::Path;

use jiff::Timestamp;

/// UTC to the millisecond, always as long.
const FORM: &str = "%Y-%m-%dT%H:%M:%S%.3fZ";

/// No panel of this kind ran before 2026-01-01: a wall clock that says so was never set. Seconds of Unix time.
const EARLIEST_S: u64 = 1_767_225_600;

/// What keeps the wall clock of this board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// A clock with a battery is on the board.
    pub battery: bool,
    /// The network has set it since the board was started.
    pub network: bool,
}

impl Kept {
    /// As the files under `root` (`/` but in tests) tell it now.
    #[must_use]
    pub fn read(root: &Path) -> Self {
        Self {
            battery: root.join("sys/class/rtc/rtc0").exists(),
            // Left by systemd's own time client once it has heard a server.
            network: root.join("run/systemd/timesync/synchronized").exists(),
        }
    }

    /// Whether a wall time, ms since 1970, is to be believed.
    #[must_use]
    pub fn sure(self, ms: u64) -> bool {
        was_set(ms) && (self.battery || self.network)
    }
}

/// Whether a wall clock that stands at so many ms since 1970 was ever set.
#[must_use]
pub fn was_set(ms: u64) -> bool {
    ms / 1000 >= EARLIEST_S
}

/// A wall time as a row bears it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// RFC 3339, UTC.
    pub text: String,
    /// The board has no clock chip and the network has not set its clock, or it was never set.
    pub unsure: bool,
}

/// The wall time now.
#[must_use]
pub fn stamp() -> Stamp {
    let text = now();
    let sure = ms(&text).is_some_and(|ms| Kept::read(Path::new("/")).sure(ms));
    Stamp {
        text,
        unsure: !sure,
    }
}

/// The wall time now, UTC, to the millisecond.
#[must_use]
pub fn now() -> String {
    // A clock before 1970 is a board without a battery that has not heard the time yet.
    text(u64::try_from(Timestamp::now().as_millisecond()).unwrap_or(0))
}

/// RFC 3339 text of a moment in milliseconds since 1970, UTC; of one after 9999-12-30 that moment.
#[must_use]
pub fn text(ms: u64) -> String {
    let moment = i64::try_from(ms)
        .ok()
        .and_then(|ms| Timestamp::from_millisecond(ms).ok());
    moment.unwrap_or(Timestamp::MAX).strftime(FORM).to_string()
}

/// Milliseconds since 1970 of a text that [`text`] made; `None` for any other.
#[must_use]
pub fn ms(text: &str) -> Option<u64> {
    let moment: Timestamp = text.parse().ok()?;
    let told = u64::try_from(moment.as_millisecond()).ok()?;
    // Whatever does not come back as it went in was no such text.
    (self::text(told) == text).then_some(told)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wall_time_is_sure_once_it_was_set_and_something_keeps_it() {
        let root = tempfile::tempdir().expect("a folder");
        let put = |file: &str| {
            let path = root.path().join(file);
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            std::fs::write(path, "").expect("written");
        };
        let (set, never) = (EARLIEST_S * 1000, EARLIEST_S * 1000 - 1);
        assert!(!Kept::read(root.path()).sure(set), "nothing keeps it");
        put("run/systemd/timesync/synchronized");
        let network = Kept::read(root.path());
        assert_eq!((network.battery, network.network), (false, true));
        put("sys/class/rtc/rtc0");
        let both = Kept::read(root.path());
        for kept in [network, both] {
            assert!(kept.sure(set) && !kept.sure(never), "{kept:?}");
        }
    }

    #[test]
    fn known_moments_are_written_as_the_standard_says() {
        assert_eq!(text(0), "1970-01-01T00:00:00.000Z");
        assert_eq!(text(951_782_399_999), "2000-02-28T23:59:59.999Z");
        assert_eq!(text(951_782_400_000), "2000-02-29T00:00:00.000Z");
        assert_eq!(text(951_868_800_000), "2000-03-01T00:00:00.000Z");
        assert_eq!(text(1_000_000_000_000), "2001-09-09T01:46:40.000Z");
        assert_eq!(text(4_107_542_400_000), "2100-03-01T00:00:00.000Z");
    }

    #[test]
    fn a_moment_comes_back_from_its_text() {
        for told in [
            0,
            999,
            951_782_399_999,
            951_782_400_000,
            4_107_542_400_000,
            // The last day of the year 9999 but one: behind it no calendar is sure of the zone.
            253_402_207_200_999,
        ] {
            assert_eq!(ms(&text(told)), Some(told));
        }
        for (i, day) in (0..60_000).enumerate() {
            let told = day * 86_400_000 + i as u64;
            assert_eq!(ms(&text(told)), Some(told));
        }
    }

    #[test]
    fn a_text_of_another_kind_is_no_moment() {
        for no in [
            "",
            "yesterday",
            "2000-02-30T00:00:00.000Z",
            "2000-13-01T00:00:00.000Z",
            "2000-01-01T24:00:00.000Z",
            "2000-01-01T00:00:00.000+01:00",
            "2000-01-01T00:00:00.00\u{e9}Z",
            "0000-01-01T00:00:00.000Z",
        ] {
            assert_eq!(ms(no), None, "{no}");
        }
    }
}
