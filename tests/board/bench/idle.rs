//! What the service takes of the board while nothing happens: the table stands, nobody looks.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use crate::client;
use crate::judge::must;
use crate::panel::Panel;
use crate::world::say;

/// It is looked at for so long.
const SPAN: Duration = Duration::from_secs(20);
/// The kernel counts a process's time in hundredths of a second.
const TICK_S: f64 = 0.01;
/// Resident memory, MB, and the first page, ms, at most (our own figures; 15 MB are wanted, and not reached yet).
const MEMORY_MB: f64 = 20.0;
const FIRST_PAGE_MS: f64 = 100.0;

/// Measures and prints.
pub fn measure(panel: &mut Panel) -> Result<(), String> {
    panel.start()?;
    panel.wait("the controller to be heard", 20, |p| {
        p.view().is_ok_and(|v| v.link.alive)
    })?;
    let from = Instant::now();
    client::get(panel.address(), "/", crate::PATIENCE).map_err(|e| e.to_string())?;
    let first = from.elapsed().as_secs_f64() * 1e3;
    let settled = panel.now() + Duration::from_secs(5);
    panel.wait("the self-test to be over", 6, |p| p.now() > settled)?;
    let pid = panel.pid()?;
    let before = seen(pid)?;
    let began = Instant::now();
    while began.elapsed() < SPAN {
        std::thread::park_timeout(SPAN.saturating_sub(began.elapsed()));
    }
    let after = seen(pid)?;
    let span_s = began.elapsed().as_secs_f64();
    let memory_mb = memory_kb(pid)? / 1024.0;
    say(&format!(
        "  idle: {memory_mb:.1} MB resident, first page in {first:.0} ms"
    ));
    let mut all = 0.0;
    for (name, (ticks, wakes)) in &after {
        let (ticks0, wakes0) = before.get(name).copied().unwrap_or_default();
        let cpu_s = (ticks - ticks0) as f64 * TICK_S;
        all += cpu_s;
        say(&format!(
            "  {name:<16} {:6.2} % of this processor, {:6.0} wakes a second",
            100.0 * cpu_s / span_s,
            (wakes - wakes0) as f64 / span_s
        ));
    }
    say(&format!(
        "  all              {:6.2} %",
        100.0 * all / span_s
    ));
    must(memory_mb <= MEMORY_MB && first <= FIRST_PAGE_MS, || {
        format!("more than {MEMORY_MB} MB or {FIRST_PAGE_MS} ms")
    })
}

/// Of each thread, by its name: ticks of processor time and how often it was woken.
fn seen(pid: u32) -> Result<BTreeMap<String, (u64, u64)>, String> {
    let folder = format!("/proc/{pid}/task");
    let mut all: BTreeMap<String, (u64, u64)> = BTreeMap::new();
    for thread in std::fs::read_dir(folder)
        .map_err(|e| e.to_string())?
        .flatten()
    {
        let read =
            |file: &str| std::fs::read_to_string(thread.path().join(file)).unwrap_or_default();
        // Behind the name in brackets, user and system time are the 12th and 13th word.
        let stat = read("stat");
        let words = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
        let ticks: u64 = words
            .split_whitespace()
            .skip(11)
            .take(2)
            .filter_map(|w| w.parse::<u64>().ok())
            .sum();
        let status = read("status");
        let wakes: u64 = status
            .lines()
            .find_map(|l| l.strip_prefix("voluntary_ctxt_switches:"))
            .and_then(|n| n.trim().parse().ok())
            .unwrap_or(0);
        let of = all.entry(read("comm").trim().to_owned()).or_default();
        *of = (of.0 + ticks, of.1 + wakes);
    }
    Ok(all)
}

fn memory_kb(pid: u32) -> Result<f64, String> {
    let status =
        std::fs::read_to_string(format!("/proc/{pid}/status")).map_err(|e| e.to_string())?;
    status
        .lines()
        .find_map(|l| l.strip_prefix("VmRSS:"))
        .and_then(|l| l.split_whitespace().next())
        .and_then(|n| n.parse().ok())
        .ok_or_else(|| "no VmRSS".into())
}
