//! From a dialect file as typed to one that makes sense: every complaint names key and remedy.

use std::collections::BTreeSet;

use regex::Regex;

use crate::dialect::{
    AnswerForm, CommandForms, Dialect, DialectError, EpochForm, LineForm, NumberForm, OpeningForm,
    ReportForm, UNSENT_WITH_ARC, WindowForm,
};
use crate::raw::{self, Confirm, Executed, Means, Raw, Texts};
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
    let commands = commands(&raw.commands)?;
    let epoch = epoch(&raw, &lines, &answers)?;
    let reports = reports(&raw, &lines)?;
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
            let every = within("keepalive.every_ms", k.every_ms, 10, 60_000)?;
            Some((k.send.clone().into_bytes(), every))
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
        keepalive,
        reports,
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

fn answers(raw: &Raw) -> Checked<AnswerForm> {
    let frame = template(
        "answers.frame",
        &raw.answers.frame,
        &["length", "check", "body"],
    )?;
    needs("answers.frame", core::slice::from_ref(&frame), &["body"])?;
    check_agrees("answers", raw.answers.check.is_some(), &frame)?;
    end("answers.end", &raw.answers.end)?;
    within("answers.longest", raw.answers.longest as u64, 16, 4096)?;
    let frame_pattern = Regex::new(&frame.pattern())
        .map_err(|e| wrong("answers.frame", e.to_string(), "write {body} once"))?;
    let mut patterns = Vec::new();
    for (i, answer) in raw.answer.iter().enumerate() {
        let key = format!("answer[{i}].pattern");
        let pattern = Regex::new(&answer.pattern).map_err(|e| {
            let words = e.to_string();
            let last = words.lines().last().unwrap_or("not a pattern").to_owned();
            wrong(&key, last, "mend the regular expression")
        })?;
        let groups: BTreeSet<&str> = pattern.capture_names().flatten().collect();
        let (must, may) = groups_of(answer.means, raw);
        for group in must {
            if !groups.contains(group) {
                return Err(wrong(
                    &key,
                    format!("the group {group} is missing"),
                    format!("write (?<{group}>...) round that part"),
                ));
            }
        }
        if let Some(odd) = groups
            .iter()
            .find(|g| !must.contains(g) && !may.contains(g))
        {
            return Err(wrong(
                &key,
                format!("the group {odd} means nothing in such an answer"),
                match [must, may].concat().as_slice() {
                    [] => "leave the group out".to_owned(),
                    some => format!("use {}", some.join(", ")),
                },
            ));
        }
        patterns.push((answer.means, pattern));
    }
    let has = |means| patterns.iter().any(|(m, _)| *m == means);
    if !has(Means::Status) {
        return Err(wrong(
            "answer",
            "none means status",
            "describe the controller's report: without it nobody knows where the torch is",
        ));
    }
    if !has(Means::Taken) {
        return Err(wrong(
            "answer",
            "none means taken",
            "describe how the controller says that it took a line",
        ));
    }
    if raw.commands.touch_off.is_some() && !(has(Means::Touched) && has(Means::Missed)) {
        return Err(wrong(
            "answer",
            "touch-off has no answer touched, or none missed",
            "describe both, or leave commands.touch_off out",
        ));
    }
    Ok(AnswerForm {
        frame,
        frame_pattern,
        end: raw.answers.end.clone().into_bytes(),
        longest: raw.answers.longest,
        check: raw.answers.check,
        patterns,
    })
}

/// Groups that a pattern must have, and those it may have.
fn groups_of(means: Means, raw: &Raw) -> (&'static [&'static str], &'static [&'static str]) {
    let numbered = raw.lines.body.contains("{number") || raw.lines.frame.contains("{number");
    match means {
        Means::Greeting | Means::Nothing => (&[], &[]),
        Means::Ready => (&[], &["epoch"]),
        Means::Taken | Means::Again if numbered => (&["number"], &[]),
        Means::Taken | Means::Again => (&[], &[]),
        Means::Refused if numbered => (&[], &["number", "why"]),
        Means::Refused => (&[], &["why"]),
        Means::Touched if numbered => (&["z"], &["number"]),
        Means::Touched => (&["z"], &[]),
        Means::Missed if numbered => (&[], &["number"]),
        Means::Missed => (&[], &[]),
        Means::Alarm => (&[], &["why"]),
        Means::Status => (
            if raw.reports.executed == Executed::Told {
                &["x", "y", "z", "doing", "executed"]
            } else {
                &["x", "y", "z", "doing"]
            },
            &[
                "feed",
                "waiting",
                "free",
                "queued_ms",
                "torch",
                "referenced",
                "up_ms",
            ],
        ),
    }
}

fn commands(raw: &raw::Commands) -> Checked<CommandForms> {
    const ARC: &[&str] = &["x", "y", "i", "j", "cx", "cy", "feed"];
    let both = |a: &str, one: &Option<Texts>, b: &str, two: &Option<Texts>, fields: &[&str]| match (
        one, two,
    ) {
        (None, None) => Ok(None),
        (Some(one), Some(two)) => Ok(Some([
            templates(a, one, fields)?,
            templates(b, two, fields)?,
        ])),
        (Some(_), None) => Err(wrong(
            b,
            "is missing",
            format!("give both, or leave {a} out too"),
        )),
        (None, Some(_)) => Err(wrong(
            a,
            "is missing",
            format!("give both, or leave {b} out too"),
        )),
    };
    let with = |key: &str, texts: &Texts, fields: &[&str]| -> Checked<Vec<Template>> {
        let forms = templates(key, texts, fields)?;
        needs(key, &forms, fields)?;
        Ok(forms)
    };
    let arcs = both(
        "commands.arc_clockwise",
        &raw.arc_clockwise,
        "commands.arc_anticlockwise",
        &raw.arc_anticlockwise,
        ARC,
    )?;
    if let Some(arcs) = &arcs {
        for (forms, key) in arcs
            .iter()
            .zip(["commands.arc_clockwise", "commands.arc_anticlockwise"])
        {
            needs(key, forms, &["x", "y", "feed"])?;
            let centre = |f: &str| forms.iter().any(|t| t.has(f));
            if !(centre("i") && centre("j") || centre("cx") && centre("cy")) {
                return Err(wrong(
                    key,
                    "the centre is missing",
                    "write {i} and {j} (from the start), or {cx} and {cy} (absolute)",
                ));
            }
        }
    }
    if !(0.001..=0.1).contains(&raw.chord_off_mm) {
        return Err(wrong(
            "commands.chord_off_mm",
            format!("{} is out of range", raw.chord_off_mm),
            "give 0.001 to 0.1",
        ));
    }
    Ok(CommandForms {
        rapid_xy: with("commands.rapid_xy", &raw.rapid_xy, &["x", "y"])?,
        rapid_z: with("commands.rapid_z", &raw.rapid_z, &["z"])?,
        feed_z: with("commands.feed_z", &raw.feed_z, &["z", "feed"])?,
        line: with("commands.line", &raw.line, &["x", "y", "feed"])?,
        arcs,
        torch_on: templates("commands.torch_on", &raw.torch_on, &[])?,
        torch_off: templates("commands.torch_off", &raw.torch_off, &[])?,
        sense: both(
            "commands.sense_on",
            &raw.sense_on,
            "commands.sense_off",
            &raw.sense_off,
            &[],
        )?,
        touch_off: match &raw.touch_off {
            None => None,
            Some(texts) => Some(with("commands.touch_off", texts, &["z", "feed"])?),
        },
        home: match &raw.home {
            None => None,
            Some(texts) => Some(templates("commands.home", texts, &[])?),
        },
        chord_off_mm: raw.chord_off_mm,
    })
}

fn epoch(raw: &Raw, lines: &LineForm, answers: &AnswerForm) -> Checked<EpochForm> {
    let e = &raw.epoch;
    let forms: Vec<Template> = e
        .lines
        .iter()
        .map(|t| template("epoch.lines", t, &["epoch", "report_ms"]))
        .collect::<Checked<_>>()?;
    let named = forms.iter().any(|t| t.has("epoch"));
    if !e.lead.is_empty() && (!lines.check.is_some() || !e.lead.is_ascii()) {
        return Err(wrong(
            "epoch.lead",
            "would end half a line, and without a check that half could be obeyed",
            "leave it out, or give the lines a check",
        ));
    }
    let ready: Vec<&Regex> = answers
        .patterns
        .iter()
        .filter(|(m, _)| *m == Means::Ready)
        .map(|(_, p)| p)
        .collect();
    match e.confirm {
        Confirm::Ready if ready.is_empty() => {
            return Err(wrong(
                "epoch.confirm",
                "waits for an answer that means ready, but none does",
                "describe that answer, or confirm by taken or quiet",
            ));
        }
        Confirm::Ready | Confirm::Taken if forms.is_empty() => {
            return Err(wrong(
                "epoch.lines",
                "nothing is said that could be confirmed",
                "give the lines that empty the controller's queue, or confirm by quiet",
            ));
        }
        Confirm::Taken if lines.numbered => {
            return Err(wrong(
                "epoch.confirm",
                "a numbered dialect needs an answer of its own for this",
                "confirm by ready",
            ));
        }
        _ => {}
    }
    if lines.numbered && e.number.is_none() && !forms.is_empty() {
        return Err(wrong(
            "epoch.number",
            "lines are numbered, but not these",
            "say which number they carry",
        ));
    }
    if let Some(odd) = e.bytes.iter().find(|b| (b' '..=b'~').contains(*b)) {
        return Err(wrong(
            "epoch.bytes",
            format!("0x{odd:02X} could be part of a line"),
            "use lines for what is text",
        ));
    }
    Ok(EpochForm {
        lead: e.lead.clone().into_bytes(),
        bytes: e.bytes.clone(),
        lines: forms,
        number: e.number.unwrap_or(0),
        confirm: e.confirm,
        settle_ms: within("epoch.settle_ms", e.settle_ms, 0, 10_000)?,
        quiet_ms: within("epoch.quiet_ms", e.quiet_ms, 0, 10_000)?,
        at_rest: e.at_rest,
        retry_ms: within("epoch.retry_ms", e.retry_ms, 50, 60_000)?,
        named,
    })
}

fn reports(raw: &Raw, lines: &LineForm) -> Checked<ReportForm> {
    let r = &raw.reports;
    let ask_line = match &r.ask_line {
        None => None,
        Some(text) => Some(template("reports.ask_line", text, &[])?),
    };
    match (r.by_itself, r.ask_byte, &ask_line) {
        (false, None, None) => {
            return Err(wrong(
                "reports",
                "they neither come by themselves nor are they asked for",
                "set by_itself, or give ask_byte or ask_line",
            ));
        }
        (_, Some(_), Some(_)) => {
            return Err(wrong(
                "reports",
                "asked for twice",
                "give ask_byte or ask_line",
            ));
        }
        _ => {}
    }
    if ask_line.is_some() && lines.numbered && !r.ask_is_taken {
        return Err(wrong(
            "reports.ask_is_taken",
            "numbered lines are always answered as taken",
            "set it to true, or ask by a byte",
        ));
    }
    if raw.states.is_empty() {
        return Err(wrong(
            "states",
            "no state of the controller is named",
            "say which of its words means idle, running, holding, ...",
        ));
    }
    if r.executed == Executed::Told && !lines.numbered {
        return Err(wrong(
            "reports.executed",
            "lines without numbers cannot be told as executed",
            "set it to \"inferred\"",
        ));
    }
    if r.executed == Executed::Inferred && !raw.states.values().any(|d| *d == crate::Doing::Idle) {
        return Err(wrong(
            "states",
            "none means idle, so nothing could ever be concluded to be executed",
            "say which word means idle",
        ));
    }
    Ok(ReportForm {
        by_itself: r.by_itself,
        every_ms: within("reports.every_ms", r.every_ms, 5, 10_000)?,
        ask_byte: r.ask_byte,
        ask_line,
        ask_is_taken: r.ask_is_taken,
        length: r.length_unit,
        feed: r.feed_unit,
        told: r.executed == Executed::Told,
        yes: r.yes.clone(),
        states: raw.states.clone(),
        other: r.other_states,
    })
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
