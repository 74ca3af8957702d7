//! What the board itself says: its clock, its supply and heat, whether threads may be real-time, versions.
//!
//! What is read is under a root folder that a test can make; how it is judged is a pure function of that.

use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use super::{Found, Judged, wrong};
use crate::journal::wall::{Kept, was_set};

/// All lines of the board whose files lie under `root` (`/` but in tests).
pub fn lines(root: &Path) -> Vec<Found> {
    let wall = SystemTime::now().duration_since(UNIX_EPOCH);
    let mut found = vec![Found {
        what: "clock",
        expected: "a wall clock that is set, kept by a battery or by the network",
        how: clock(Kept::read(root), wall.unwrap_or(Duration::ZERO)),
    }];
    found.push(Found {
        what: "supply and heat",
        expected: "no under-voltage and no throttling since the board was started",
        how: supply(&Supply::read(root)),
    });
    found.push(Found {
        what: "real-time",
        expected: "the kernel lets threads of real-time priority run",
        how: real_time(
            first_line(&root.join("proc/sys/kernel/sched_rt_runtime_us")).as_deref(),
            rustix::process::getrlimit(rustix::process::Resource::Rtprio).current,
        ),
    });
    found.push(Found {
        what: "versions",
        expected: "told, for whoever is asked for help",
        how: Ok(versions(root)),
    });
    found
}

fn first_line(file: &Path) -> Option<String> {
    let text = fs::read_to_string(file).ok()?;
    text.lines().next().map(|l| l.trim().to_owned())
}

fn clock(clock: Kept, wall: Duration) -> Judged {
    if !was_set(u64::try_from(wall.as_millis()).unwrap_or(u64::MAX)) {
        return wrong(
            "the wall clock was never set: the journal's dates and times are wrong, its order and its spans \
             are not",
            "Connect the board to a network once, or set it by hand: sudo timedatectl set-time \"2026-05-01 08:00\"",
        );
    }
    Ok(match (clock.battery, clock.network) {
        (true, _) => "set; kept by a clock chip over a power cut if its battery is good".into(),
        (false, true) => "set by the network; without a clock chip it is unsure after each start until then".into(),
        (false, false) => "no clock chip, and the network has not set it since the start: take the journal's dates \
                           and times as unsure; its order and its spans are right"
            .into(),
    })
}

/// What the board tells of its supply and heat.
#[derive(Clone, Debug, Default, PartialEq)]
struct Supply {
    /// Bits 0 to 3: under-voltage, slowed, throttled, hot now; bits 16 to 19: the same since the start. (From
    /// memory of such boards' firmware, no source at hand.)
    flags: Option<u32>,
    /// A voltage monitor of the kernel raises its alarm.
    alarm: Option<bool>,
    /// Hottest zone, and the lowest point at which the kernel slows down there, degrees Celsius.
    heat: Option<(f64, Option<f64>)>,
}

impl Supply {
    fn read(root: &Path) -> Self {
        let firmware = root.join("sys/devices/platform/soc/soc:firmware/get_throttled");
        let flags = first_line(&firmware)
            .and_then(|t| u32::from_str_radix(t.trim_start_matches("0x"), 16).ok());
        let monitors = folders(&root.join("sys/class/hwmon"));
        let alarms: Vec<_> = monitors
            .filter_map(|dir| first_line(&dir.join("in0_lcrit_alarm")))
            .map(|t| t != "0")
            .collect();
        let mut heat: Option<(f64, Option<f64>)> = None;
        for zone in folders(&root.join("sys/class/thermal")) {
            let degrees = |name: &str| {
                let text = first_line(&zone.join(name))?;
                text.parse::<f64>().ok().map(|t| t / 1000.0)
            };
            let Some(now) = degrees("temp") else { continue };
            let slowed = (0..8)
                .filter(|k| {
                    let kind = first_line(&zone.join(format!("trip_point_{k}_type")));
                    matches!(kind.as_deref(), Some("passive" | "hot"))
                })
                .filter_map(|k| degrees(&format!("trip_point_{k}_temp")))
                .reduce(f64::min);
            if heat.is_none_or(|(hottest, _)| now > hottest) {
                heat = Some((now, slowed));
            }
        }
        Self {
            flags,
            alarm: (!alarms.is_empty()).then(|| alarms.contains(&true)),
            heat,
        }
    }
}

fn folders(dir: &Path) -> impl Iterator<Item = std::path::PathBuf> + use<> {
    let entries = fs::read_dir(dir).into_iter().flatten();
    let mut all: Vec<_> = entries.filter_map(|e| e.ok().map(|e| e.path())).collect();
    all.sort();
    all.into_iter()
}

const SUPPLY_REMEDY: &str = "Give the board its own supply of the current that its maker names, by a short thick cable, \
                             and nothing else on it; then start it again";
const HEAT_REMEDY: &str = "Give the console air or the board a cooler, out of the sun and of the plasma's dust; then start it again";

fn supply(seen: &Supply) -> Judged {
    let flags = seen.flags.unwrap_or(0);
    // Now or since the start.
    let bit = |k: u32| flags & (1 << k | 1 << (k + 16)) != 0;
    if bit(0) || seen.alarm == Some(true) {
        return wrong("under-voltage, now or since the start", SUPPLY_REMEDY);
    }
    if bit(1) || bit(2) || bit(3) {
        return wrong(
            "slowed down by heat or supply, now or since the start",
            HEAT_REMEDY,
        );
    }
    if let Some((now, Some(slowed))) = seen.heat
        && now >= slowed
    {
        return wrong(
            &format!(
                "{now:.0} degrees Celsius: the kernel slows the board down from {slowed:.0} on"
            ),
            HEAT_REMEDY,
        );
    }
    let told = seen.flags.is_some() || seen.alarm.is_some();
    let mut says = if told {
        "no under-voltage told"
    } else {
        "this board tells nothing of its supply"
    }
    .to_owned();
    if let Some((now, _)) = seen.heat {
        says.push_str(&format!("; {now:.0} degrees Celsius"));
    }
    Ok(says)
}

/// `runtime`: the kernel's share for real-time threads, us of each period, -1 without a bound. `limit`: the
/// highest priority that this process may ask for; `None`: any.
fn real_time(runtime: Option<&str>, limit: Option<u64>) -> Judged {
    if runtime == Some("0") {
        return wrong(
            "the kernel lets no real-time thread run: beside busy programs the guard answers late",
            "sudo sysctl kernel.sched_rt_runtime_us=950000, and find in /etc/sysctl.d what sets it to 0",
        );
    }
    Ok(match limit {
        None => "any priority may be asked for".into(),
        Some(0) => "not for whoever runs this command; the unit gives the panel's guard the right to it (LimitRTPRIO)".into(),
        Some(n) => format!("priority up to {n} may be asked for"),
    })
}

fn versions(root: &Path) -> String {
    let release = fs::read_to_string(root.join("etc/os-release")).unwrap_or_default();
    let named = release.lines().find_map(|l| l.strip_prefix("PRETTY_NAME="));
    let system = named.map_or("a system without a name", |n| n.trim_matches('"'));
    let kernel = first_line(&root.join("proc/sys/kernel/osrelease"));
    format!(
        "standclear {}; kernel {}; {system}; {}",
        env!("CARGO_PKG_VERSION"),
        kernel.as_deref().unwrap_or("unknown"),
        std::env::consts::ARCH
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(root: &Path, file: &str, text: &str) {
        let path = root.join(file);
        fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        fs::write(path, text).expect("written");
    }

    #[test]
    fn a_clock_that_was_never_set_is_wrong_and_one_without_a_battery_is_unsure() {
        let (none, chip, net) = (
            Kept {
                battery: false,
                network: false,
            },
            Kept {
                battery: true,
                network: false,
            },
            Kept {
                battery: false,
                network: true,
            },
        );
        // 2026-01-01.
        let set = Duration::from_secs(1_767_225_600);
        for kept in [none, chip, net] {
            let (says, remedy) = clock(kept, set - Duration::from_secs(1)).expect_err("1970 or so");
            assert!(
                says.contains("never set") && remedy.contains("timedatectl"),
                "{says} {remedy}"
            );
        }
        assert!(clock(none, set).is_ok_and(|s| s.contains("unsure")));
        assert!(clock(chip, set).is_ok_and(|s| !s.contains("unsure")));
        assert!(clock(net, set).is_ok_and(|s| s.contains("set by the network")));
        let root = tempfile::tempdir().expect("a folder");
        assert!(!Kept::read(root.path()).battery && !Kept::read(root.path()).network);
        put(root.path(), "sys/class/rtc/rtc0/name", "x");
        put(root.path(), "run/systemd/timesync/synchronized", "");
        assert!(Kept::read(root.path()).battery && Kept::read(root.path()).network);
    }

    #[test]
    fn each_flag_of_the_supply_is_named_now_and_since_the_start() {
        for (bits, word) in [
            ("1", "under-voltage"),
            ("10000", "under-voltage"),
            ("2", "slowed"),
            ("40000", "slowed"),
            ("0x80008", "slowed"),
            ("50005", "under-voltage"),
        ] {
            let root = tempfile::tempdir().expect("a folder");
            put(
                root.path(),
                "sys/devices/platform/soc/soc:firmware/get_throttled",
                bits,
            );
            let (says, _) = supply(&Supply::read(root.path())).expect_err(bits);
            assert!(says.contains(word), "{bits}: {says}");
        }
        let root = tempfile::tempdir().expect("a folder");
        let look = || supply(&Supply::read(root.path()));
        assert!(look().is_ok_and(|s| s.contains("tells nothing")));
        put(root.path(), "sys/class/hwmon/hwmon0/in0_lcrit_alarm", "0\n");
        assert!(look().is_ok_and(|s| s.contains("no under-voltage")));
        put(root.path(), "sys/class/hwmon/hwmon1/in0_lcrit_alarm", "1\n");
        assert!(look().is_err_and(|(s, _)| s.contains("under-voltage")));
    }

    #[test]
    fn heat_is_wrong_from_where_the_kernel_slows_down() {
        let root = tempfile::tempdir().expect("a folder");
        let zone = "sys/class/thermal/thermal_zone0";
        let look = |temp: &str| {
            put(root.path(), &format!("{zone}/temp"), temp);
            supply(&Supply::read(root.path()))
        };
        assert!(
            look("84000").is_ok_and(|s| s.contains("84 degrees")),
            "no point is known"
        );
        put(
            root.path(),
            &format!("{zone}/trip_point_0_type"),
            "critical",
        );
        put(root.path(), &format!("{zone}/trip_point_0_temp"), "70000");
        put(root.path(), &format!("{zone}/trip_point_1_type"), "passive");
        put(root.path(), &format!("{zone}/trip_point_1_temp"), "80000");
        assert!(look("79900").is_ok());
        assert!(look("80000").is_err_and(|(s, r)| s.contains("80") && r.contains("air")));
    }

    #[test]
    fn a_kernel_that_runs_no_real_time_thread_is_wrong() {
        assert!(
            real_time(Some("0"), Some(50)).is_err_and(|(_, r)| r.contains("sched_rt_runtime_us"))
        );
        assert!(real_time(Some("950000"), Some(50)).is_ok_and(|s| s.contains("50")));
        assert!(real_time(Some("-1"), None).is_ok());
        assert!(real_time(None, Some(0)).is_ok_and(|s| s.contains("LimitRTPRIO")));
    }
}
