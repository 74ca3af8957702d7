//! From a dialect file as typed to one that makes sense: every complaint names key and remedy.

mod answers;
mod commands;
mod modal;
mod relations;

use std::collections::BTreeSet;
use std::sync::Arc;

use answers::{answers, reports, stamps};
use commands::{commands, epoch};

use crate::dialect::{
    Dialect, DialectError, LineForm, NumberForm, OpeningForm, PLAIN, UNSENT_WITH_ARC, WindowForm,
};
use crate::raw::{self, Means, Raw, Texts};
use crate::template::Template;

type Checked<T> = Result<T, DialectError>;

fn wrong(
    key: impl Into<String>,
    says: impl Into<String>,
    remedy: impl Into<String>,
) -> DialectError {
    DialectError {
        key: key.into(),
        says: says.into(),
        remedy: remedy.into(),
    }
}

fn template(key: &str, text: &str, fields: &[&str]) -> Checked<Template> {
    let t = Template::parse(text, fields).map_err(|e| wrong(key, e.says, e.remedy))?;
    if let Some(odd) = t
        .words()
        .flat_map(str::chars)
        .find(|c| !(' '..='~').contains(c))
    {
        return Err(wrong(
            key,
            format!("{odd:?} cannot stand in a line"),
            "use printable 7-bit text; line ends belong to `end`",
        ));
    }
    Ok(t)
}

fn templates(key: &str, texts: &Texts, fields: &[&str]) -> Checked<Vec<Template>> {
    if texts.all().is_empty() {
        return Err(wrong(
            key,
            "no line at all",
            "write a line, or leave the key out",
        ));
    }
    texts
        .all()
        .iter()
        .map(|t| template(key, t, fields))
        .collect()
}

fn needs(key: &str, forms: &[Template], fields: &[&str]) -> Checked<()> {
    for field in fields {
        if !forms.iter().any(|t| t.has(field)) {
            return Err(wrong(
                key,
                format!("the field {{{field}}} is missing"),
                "write it where the controller expects it",
            ));
        }
    }
    Ok(())
}

fn end(key: &str, text: &str) -> Checked<()> {
    if text.is_empty()
        || !text
            .bytes()
            .all(|b| b == b'\r' || b == b'\n' || (b' '..=b'~').contains(&b))
    {
        return Err(wrong(
            key,
            "a line must end with something that is 7-bit",
            "write \"\\n\" or what the controller's manual says",
        ));
    }
    Ok(())
}

fn within(key: &str, n: u64, low: u64, high: u64) -> Checked<u64> {
    if (low..=high).contains(&n) {
        Ok(n)
    } else {
        Err(wrong(
            key,
            format!("{n} is out of range"),
            format!("give {low} to {high}"),
        ))
    }
}

pub(crate) fn checked(raw: Raw) -> Checked<Dialect> {
    let lines = lines(&raw.lines)?;
    let answers = answers(&raw)?;
    let mut commands = commands(&raw.commands)?;
    modal::mark(&raw, &lines, &mut commands)?;
    let epoch = epoch(&raw, &lines, &answers)?;
    let reports = reports(&raw, &lines)?;
    let stamps = stamps(&raw)?;
    relations::relations(&raw)?;
    let window = window(&raw.window, &lines)?;
    let again = answers.patterns.iter().any(|(m, _)| *m == Means::Again);
    if again && !lines.numbered && window.lines != Some(1) {
        return Err(wrong(
            "window",
            "several lines in flight, and an answer that means again does not say which",
            "send one line at a time (leave lines and bytes out), or number the lines",
        ));
    }
    let keepalive = match &raw.keepalive {
        None => None,
        Some(k) => {
            if k.send.is_empty() || !k.send.is_ascii() {
                return Err(wrong(
                    "keepalive.send",
                    "nothing that could be sent",
                    "give 7-bit text that the controller takes for an empty line",
                ));
            }
            Some((k.send.clone().into_bytes(), k.every_ms))
        }
    };
    within("numbers.decimals", raw.numbers.decimals as u64, 0, 9)?;
    within(
        "numbers.feed_decimals",
        raw.numbers.feed_decimals as u64,
        0,
        9,
    )?;
    if raw.name.trim().is_empty() {
        return Err(wrong("name", "is empty", "say what the dialect is called"));
    }
    let dialect = Dialect {
        name: raw.name,
        about: raw.about,
        hold: raw.bytes.hold,
        torch_off: raw.bytes.torch_off,
        lines,
        answers,
        numbers: NumberForm {
            length: raw.numbers.length_unit,
            feed: raw.numbers.feed_unit,
            decimals: raw.numbers.decimals,
            feed_decimals: raw.numbers.feed_decimals,
        },
        commands,
        epoch,
        opening: OpeningForm {
            resets: raw.opening.resets,
            dead_ms: within("opening.dead_ms", raw.opening.dead_ms, 0, 60_000)?,
        },
        window,
        modal: raw.modal.is_some(),
        keepalive,
        reports,
        stamps,
        source: String::new(),
    };
    bare_bytes(&dialect)?;
    Ok(dialect)
}

fn lines(raw: &raw::Lines) -> Checked<LineForm> {
    let body = template("lines.body", &raw.body, &["number", "text"])?;
    needs("lines.body", core::slice::from_ref(&body), &["text"])?;
    let frame = template(
        "lines.frame",
        &raw.frame,
        &["length", "check", "number", "body"],
    )?;
    needs("lines.frame", core::slice::from_ref(&frame), &["body"])?;
    check_agrees("lines", raw.check.is_some(), &frame)?;
    end("lines.end", &raw.end)?;
    within("lines.longest", raw.longest as u64, 16, 1024)?;
    within("lines.first_number", raw.first_number, 1, 1_000_000)?;
    if !raw.check.is_some() && raw.longest > UNSENT_WITH_ARC {
        return Err(wrong(
            "lines.longest",
            format!("{} is too long for lines that carry no check", raw.longest),
            format!(
                "give at most {UNSENT_WITH_ARC}: no more may lie unsent with the arc on, and only a \
                 checked line may be cut short without being misread"
            ),
        ));
    }
    Ok(LineForm {
        numbered: body.has("number") || frame.has("number"),
        body,
        frame,
        end: raw.end.clone(),
        longest: raw.longest,
        first_number: raw.first_number,
        check: raw.check,
    })
}

fn check_agrees(key: &str, some: bool, frame: &Template) -> Checked<()> {
    match (some, frame.has("check")) {
        (true, false) => Err(wrong(
            format!("{key}.frame"),
            "a check is named but stands nowhere in the frame",
            "write {check:04X} where it stands, or leave the check out",
        )),
        (false, true) => Err(wrong(
            format!("{key}.check"),
            "the frame carries a check but none is named",
            "name it: crc16, xor or sum",
        )),
        _ => Ok(()),
    }
}

fn window(raw: &raw::Window, lines: &LineForm) -> Checked<WindowForm> {
    if let Some(bytes) = raw.bytes {
        let least = lines.longest + 32;
        if bytes < least || bytes > 65_536 {
            return Err(wrong(
                "window.bytes",
                format!("{bytes} is out of range"),
                format!("give {least} (one line of the longest kind) to 65536, or count by lines"),
            ));
        }
    }
    if let Some(lines) = raw.lines {
        within("window.lines", lines as u64, 1, 1024)?;
    }
    Ok(WindowForm {
        bytes: raw.bytes,
        lines: raw
            .lines
            .or(if raw.bytes.is_some() { None } else { Some(1) }),
        queue: raw.queue,
        resend_ms: within("window.resend_ms", raw.resend_ms, 20, 60_000)?,
        block_ms: raw
            .block_ms
            .map(|ms| within("window.block_ms", ms, 1, 1_000))
            .transpose()?,
    })
}

/// A byte that acts at once must never be made of a line's byte by noise, nor be one.
fn bare_bytes(d: &Dialect) -> Checked<()> {
    let named = [
        ("bytes.hold", d.hold),
        ("bytes.torch_off", d.torch_off),
        ("reports.ask_byte", d.reports.ask_byte),
    ];
    for (i, (key, byte)) in named.iter().enumerate() {
        let Some(byte) = byte else { continue };
        if let Some((other, _)) = named[..i].iter().find(|(_, b)| *b == Some(*byte)) {
            return Err(wrong(
                *key,
                format!("is the same as {other}"),
                "give each its own",
            ));
        }
        let used = used_bytes(d);
        if used.contains(byte) {
            return Err(wrong(
                *key,
                format!("0x{byte:02X} is used in lines"),
                "an at-once byte must not be part of a line",
            ));
        }
        // What only asks may be made by noise: it does no harm.
        let near = used.iter().find(|u| (*u ^ byte).count_ones() < 2);
        if let Some(near) = near.filter(|_| d.lines.check.is_some() && *key != "reports.ask_byte") {
            return Err(wrong(
                *key,
                format!("0x{byte:02X} is one bit from 0x{near:02X}, which is used in lines"),
                "take one that differs in two bits or more, so that one disturbed bit never makes it",
            ));
        }
    }
    Ok(())
}

/// What stands for something that is to be filled in.
const BLANK: &str = "_____";

/// No blank of a new dialect is left, comments apart.
fn filled_in(text: &str) -> Checked<()> {
    let blank = |line: &str| line.split('#').next().is_some_and(|l| l.contains(BLANK));
    match text.lines().position(blank) {
        None => Ok(()),
        Some(at) => Err(wrong(
            format!("line {}", at + 1),
            format!("a blank ({BLANK}) is not filled in"),
            "write what the controller's manual says there",
        )),
    }
}

/// Every byte that a line of this dialect may be made of.
fn used_bytes(d: &Dialect) -> BTreeSet<u8> {
    let mut used: BTreeSet<u8> = (b' '..=b'~').collect();
    used.extend(d.lines.end.bytes());
    used.extend(&d.epoch.lead);
    if let Some((send, _)) = &d.keepalive {
        used.extend(send);
    }
    used
}

impl Dialect {
    /// Reads and checks a dialect file.
    ///
    /// # Errors
    /// The key, what is wrong with it, and what to do.
    pub fn from_toml(text: &str) -> Result<Self, DialectError> {
        filled_in(text)?;
        let raw: Raw = toml::from_str(text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start.min(text.len()));
            let before = text.get(..at).unwrap_or("");
            let line = before.matches('\n').count() + 1;
            let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
            DialectError {
                key: format!("line {line}, column {column}"),
                says: e.message().to_owned(),
                remedy: "mend that line; plain.toml shows every key".into(),
            }
        })?;
        let mut dialect = checked(raw)?;
        text.clone_into(&mut dialect.source);
        Ok(dialect)
    }

    /// The dialect of the simulated table.
    ///
    /// # Errors
    /// Never, as long as the tests of this crate pass.
    pub fn plain() -> Result<Arc<Self>, DialectError> {
        Self::from_toml(PLAIN).map(Arc::new)
    }
}
