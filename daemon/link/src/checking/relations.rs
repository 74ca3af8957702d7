//! What must hold between the keys of a dialect: opposite acts in different words, nothing that lights
//! the torch said by anything else, and times within what the guard and the link reckon with.

use super::{Checked, within, wrong};
use crate::raw::{Raw, Texts};

/// The guard's own word lapses after 200 ms: a controller that watches for silence must not wait
/// longer for a sign of life (ours).
const KEEPALIVE_MS: (u64, u64) = (10, 200);
/// The link counts as cut after 250 ms without a report, so that even slow reports must come in less
/// than half of that (ours).
const REPORT_MS: (u64, u64) = (5, 120);

/// Judges the file as it was typed.
pub(super) fn relations(raw: &Raw) -> Checked<()> {
    not_empty(raw)?;
    opposites(raw)?;
    torch_alone(raw)?;
    if let Some(k) = &raw.keepalive {
        within(
            "keepalive.every_ms",
            k.every_ms,
            KEEPALIVE_MS.0,
            KEEPALIVE_MS.1,
        )?;
    }
    within(
        "reports.every_ms",
        raw.reports.every_ms,
        REPORT_MS.0,
        REPORT_MS.1,
    )?;
    if raw.epoch.retry_ms <= raw.epoch.settle_ms {
        return Err(wrong(
            "epoch.retry_ms",
            format!(
                "{} is not more than epoch.settle_ms ({}): it would be said again before it was heard",
                raw.epoch.retry_ms, raw.epoch.settle_ms
            ),
            "give more than epoch.settle_ms",
        ));
    }
    Ok(())
}

/// A line as a controller hears it: the case, spaces and leading zeros of RS-274 words say nothing.
fn heard(text: &str) -> String {
    let mut out = String::new();
    let mut letters = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_ascii_uppercase())
        .peekable();
    while let Some(c) = letters.next() {
        out.push(c);
        if c.is_ascii_alphabetic() && letters.peek() == Some(&'0') {
            while letters.peek() == Some(&'0') {
                letters.next();
            }
            if !letters.peek().is_some_and(char::is_ascii_digit) {
                out.push('0');
            }
        }
    }
    out
}

fn all(texts: Option<&Texts>) -> Vec<String> {
    texts.map_or_else(Vec::new, |t| t.all().iter().map(|l| heard(l)).collect())
}

/// Every command that is given, by its key.
fn commands(raw: &Raw) -> Vec<(&'static str, Option<&Texts>)> {
    let c = &raw.commands;
    vec![
        ("commands.torch_on", Some(&c.torch_on)),
        ("commands.torch_off", Some(&c.torch_off)),
        ("commands.rapid_xy", Some(&c.rapid_xy)),
        ("commands.rapid_z", Some(&c.rapid_z)),
        ("commands.feed_z", Some(&c.feed_z)),
        ("commands.line", Some(&c.line)),
        ("commands.arc_clockwise", c.arc_clockwise.as_ref()),
        ("commands.arc_anticlockwise", c.arc_anticlockwise.as_ref()),
        ("commands.sense_on", c.sense_on.as_ref()),
        ("commands.sense_off", c.sense_off.as_ref()),
        ("commands.touch_off", c.touch_off.as_ref()),
        ("commands.home", c.home.as_ref()),
    ]
}

fn not_empty(raw: &Raw) -> Checked<()> {
    let blank = |texts: &[String]| texts.iter().any(String::is_empty);
    let mut named = commands(raw)
        .into_iter()
        .map(|(key, texts)| (key, all(texts)))
        .collect::<Vec<_>>();
    named.push((
        "epoch.lines",
        raw.epoch.lines.iter().map(|l| heard(l)).collect(),
    ));
    named.push((
        "reports.ask_line",
        raw.reports.ask_line.iter().map(|l| heard(l)).collect(),
    ));
    match named.iter().find(|(_, texts)| blank(texts)) {
        None => Ok(()),
        Some((key, _)) => Err(wrong(
            *key,
            "an empty line asks the controller for nothing",
            "write what its manual says, or leave the key out where it may be",
        )),
    }
}

/// Acts that undo each other, or turn the other way.
fn opposites(raw: &Raw) -> Checked<()> {
    let c = &raw.commands;
    let pairs = [
        (
            "commands.torch_on",
            Some(&c.torch_on),
            "commands.torch_off",
            Some(&c.torch_off),
        ),
        (
            "commands.sense_on",
            c.sense_on.as_ref(),
            "commands.sense_off",
            c.sense_off.as_ref(),
        ),
        (
            "commands.arc_clockwise",
            c.arc_clockwise.as_ref(),
            "commands.arc_anticlockwise",
            c.arc_anticlockwise.as_ref(),
        ),
        (
            "commands.rapid_xy",
            Some(&c.rapid_xy),
            "commands.line",
            Some(&c.line),
        ),
        (
            "commands.rapid_z",
            Some(&c.rapid_z),
            "commands.feed_z",
            Some(&c.feed_z),
        ),
    ];
    for (one_key, one, other_key, other) in pairs {
        let (one, other) = (all(one), all(other));
        if one.is_empty() || other.is_empty() {
            continue;
        }
        if let Some(same) = other.iter().find(|line| one.contains(line)) {
            return Err(wrong(
                other_key,
                format!("says {same:?}, and so does {one_key}, which is the opposite"),
                "give each act words of its own, as the controller's manual says",
            ));
        }
    }
    Ok(())
}

/// What lights the torch is said by nothing else.
fn torch_alone(raw: &Raw) -> Checked<()> {
    let on = all(Some(&raw.commands.torch_on));
    let mut others: Vec<(&str, Vec<String>)> = commands(raw)
        .into_iter()
        .filter(|(key, _)| *key != "commands.torch_on")
        .map(|(key, texts)| (key, all(texts)))
        .collect();
    others.push((
        "epoch.lines",
        raw.epoch.lines.iter().map(|l| heard(l)).collect(),
    ));
    others.push((
        "reports.ask_line",
        raw.reports.ask_line.iter().map(|l| heard(l)).collect(),
    ));
    let alive = raw.keepalive.iter().map(|k| heard(&k.send));
    others.push(("keepalive.send", alive.collect()));
    let lights = |line: &String| on.iter().any(|l| l == line);
    match others.iter().find(|(_, lines)| lines.iter().any(lights)) {
        None => Ok(()),
        Some((key, _)) => Err(wrong(
            *key,
            "says what commands.torch_on says: it would light the torch",
            "take that line out; only commands.torch_on lights the torch",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::heard;

    #[test]
    fn case_spaces_and_leading_zeros_do_not_make_another_word() {
        for same in ["M3", "m3", "M03", " M 3", "M003"] {
            assert_eq!(heard(same), "M3", "{same}");
        }
        assert_eq!(heard("G0 X{x}"), heard("G00X{x}"));
        assert_ne!(heard("M30"), heard("M3"));
        assert_ne!(heard("G0"), heard("G"));
    }
}
