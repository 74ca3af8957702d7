//! The words that stay in force at the controller: found in every line of path, or refused.

use super::{Checked, wrong};
use crate::dialect::{CommandForms, LineForm};
use crate::raw::{Raw, Texts};
use crate::template::Template;

const KEY: &str = "modal.words";

/// Marks in the lines of path what may be left out where the line before carried the same.
pub(super) fn mark(raw: &Raw, lines: &LineForm, commands: &mut CommandForms) -> Checked<()> {
    let Some(modal) = &raw.modal else {
        return Ok(());
    };
    if !(lines.numbered && lines.check.is_some()) {
        return Err(wrong(
            "modal",
            "lines carry no number and check: one wrong word would stay in force for all that follow",
            "leave [modal] out, so that every line stands by itself",
        ));
    }
    let groups = &modal.words;
    for word in groups.iter().flatten() {
        sound(groups, word)?;
    }
    let c = &raw.commands;
    let [mut clockwise, mut anticlockwise] = [None, None];
    if let Some([one, other]) = &mut commands.arcs {
        (clockwise, anticlockwise) = (Some(one), Some(other));
    }
    for (key, texts, forms) in [
        ("commands.line", Some(&c.line), Some(&mut commands.line)),
        (
            "commands.arc_clockwise",
            c.arc_clockwise.as_ref(),
            clockwise,
        ),
        (
            "commands.arc_anticlockwise",
            c.arc_anticlockwise.as_ref(),
            anticlockwise,
        ),
    ] {
        if let (Some(texts), Some(forms)) = (texts, forms) {
            mark_lines(groups, key, texts, forms)?;
        }
    }
    Ok(())
}

/// A word that can stay in force: one word, no place, in one group.
fn sound(groups: &[Vec<String>], word: &str) -> Checked<()> {
    let without_feed = word.replace("{feed}", "");
    if word.is_empty() || word.contains(' ') || without_feed.contains(['{', '}']) {
        return Err(wrong(
            KEY,
            format!("{word:?} is no word that stays in force"),
            "write one word as the lines of path have it, without a blank; of fields only {feed} stays",
        ));
    }
    let times = groups.iter().flatten().filter(|w| *w == word).count();
    if times > 1 {
        return Err(wrong(
            KEY,
            format!("{word:?} stands there more than once"),
            "name each word once, in the group of those that replace it",
        ));
    }
    Ok(())
}

/// Each line carries one word of each group: so what is in force after it is known.
fn mark_lines(
    groups: &[Vec<String>],
    key: &str,
    texts: &Texts,
    forms: &mut [Template],
) -> Checked<()> {
    for (text, form) in texts.all().iter().zip(forms) {
        let of = |word: &str| groups.iter().position(|g| g.iter().any(|w| w == word));
        form.groups = text.split(' ').map(of).collect();
        for (g, words) in groups.iter().enumerate() {
            if form.groups.iter().filter(|of| **of == Some(g)).count() != 1 {
                return Err(wrong(
                    KEY,
                    format!(
                        "{key} does not carry one of {words:?}: what is in force after it is not known"
                    ),
                    "give each line of path one word of each group, with blanks between its words",
                ));
            }
        }
    }
    Ok(())
}
