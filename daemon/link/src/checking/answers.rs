//! What the controller says: frame, patterns and their groups, reports and states.

use std::collections::BTreeSet;

use regex::Regex;

use super::{Checked, check_agrees, end, needs, template, within, wrong};
use crate::dialect::{AnswerForm, LineForm, ReportForm, StampForm};
use crate::raw::{Executed, Means, Raw};
use crate::words::Doing;

pub(super) fn answers(raw: &Raw) -> Checked<AnswerForm> {
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
        Means::Stamp => (&["number", "input", "level", "x", "y", "up_ms"], &[]),
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

pub(super) fn reports(raw: &Raw, lines: &LineForm) -> Checked<ReportForm> {
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
    if r.executed == Executed::Inferred && !raw.states.values().any(|d| *d == Doing::Idle) {
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

/// The table of stamped inputs and the answer that tells them: both or neither.
pub(super) fn stamps(raw: &Raw) -> Checked<Option<StampForm>> {
    let told = raw.answer.iter().position(|a| a.means == Means::Stamp);
    let Some(stamps) = &raw.stamps else {
        return match told {
            None => Ok(None),
            Some(i) => Err(wrong(
                format!("answer[{i}]"),
                "it means stamp, but no input is named whose edges are stamped",
                "write [stamps] with inputs = { WORD = \"arc-ok\" }, or leave that answer out",
            )),
        };
    };
    if stamps.inputs.is_empty() {
        return Err(wrong(
            "stamps.inputs",
            "names no input",
            "write the controller's word for each and what is wired to it, or leave [stamps] out",
        ));
    }
    if told.is_none() {
        return Err(wrong(
            "stamps",
            "inputs are stamped, but no answer means stamp",
            "describe the line that tells it, or leave [stamps] out",
        ));
    }
    let mut seen = BTreeSet::new();
    if let Some((word, _)) = stamps.inputs.iter().find(|(_, i)| !seen.insert(**i)) {
        return Err(wrong(
            format!("stamps.inputs.{word}"),
            "this input has a word already",
            "name each input once",
        ));
    }
    let yes = if stamps.yes.is_empty() {
        raw.reports.yes.clone()
    } else {
        stamps.yes.clone()
    };
    if yes.is_empty() {
        return Err(wrong(
            "stamps.yes",
            "nothing says which level is a closed input",
            "write what the controller writes for it, as yes = [\"1\"]",
        ));
    }
    Ok(Some(StampForm {
        inputs: stamps.inputs.clone(),
        yes,
        length: stamps.length_unit.unwrap_or(raw.reports.length_unit),
    }))
}
