//! What is said to the controller: commands, and the opening of an epoch.

use regex::Regex;

use super::{Checked, needs, template, templates, within, wrong};
use crate::dialect::{AnswerForm, CommandForms, EpochForm, LineForm};
use crate::raw::{self, Confirm, Means, Raw, Texts};
use crate::template::Template;

pub(super) fn commands(raw: &raw::Commands) -> Checked<CommandForms> {
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

pub(super) fn epoch(raw: &Raw, lines: &LineForm, answers: &AnswerForm) -> Checked<EpochForm> {
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
