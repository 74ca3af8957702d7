//! What a run has cost: time on a processor and memory.

/// How long this thread has been on a processor, s: other work of the machine does not count.
#[allow(dead_code, reason = "one of the benchmarks goes by the wall's clock")]
pub fn on_processor_s() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let first = text
        .split_whitespace()
        .next()
        .and_then(|n| n.parse::<f64>().ok());
    first.expect("Linux says how long a thread ran") * 1e-9
}

/// The most memory that this process has held, MB.
#[allow(dead_code, reason = "one of two benchmarks measures memory")]
pub fn peak_mb() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find(|l| l.starts_with("VmHWM:"));
    let kb = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok());
    kb.expect("Linux says how much memory a process has held") / 1024.0
}
