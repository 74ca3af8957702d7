//! From bytes to a cut list. Never fails: whatever cannot be read is a finding, and reading goes on
//! behind it so that everything that is wrong is told at once.

mod arcs;
mod codes;
mod fault;
mod foreign;
mod lines;
mod number;
pub(crate) mod reading;
mod run;
mod scan;
mod torch;

use crate::reader::reading::COMMENTS_KEPT;
use crate::reader::reading::Comment;
use crate::reader::reading::Reading;
use crate::report::findings::{Findings, Spot};
use crate::vetting::rules::reading::after_end;
use crate::vetting::rules::reading::after_end::After;
use crate::vetting::rules::reading::comment_open;
use crate::vetting::rules::reading::digits_excess;
use crate::vetting::rules::reading::end_missing;
use crate::vetting::rules::reading::file_too_large;
use crate::vetting::rules::reading::line_too_long;
use crate::vetting::rules::reading::not_a_program;
use crate::vetting::rules::reading::replaced;
use crate::vetting::rules::reading::units_not_stated;
use crate::vetting::rules::reading::unreadable_block;
use crate::vetting::rules::reading::word_ignored;
use lines::{Kind, Line};
use run::Run;
use scan::{Store, Words};

pub(crate) use arcs::on_bisector;
pub use lines::{Lines, Scanner};

/// Which words mean what on this table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingRules {
    /// M words for torch on.
    pub torch_on: Vec<u16>,
    /// M words for torch off.
    pub torch_off: Vec<u16>,
}

impl Default for ReadingRules {
    fn default() -> Self {
        Self {
            torch_on: vec![3, 4],
            torch_off: vec![5],
        }
    }
}

/// Reads a program. Never fails: what cannot be read is a finding.
#[must_use]
pub fn read(bytes: &[u8], rules: &ReadingRules) -> Reading {
    let mut scanner = Scanner::new(bytes);
    read_scanned(bytes, rules, |done| scanner.next(done))
}

/// The same, with lines that a [`Scanner`] of these bytes scans elsewhere: `next` takes lines that have been
/// read back, for their room, and gives those that follow.
#[must_use]
pub fn read_scanned(
    bytes: &[u8],
    rules: &ReadingRules,
    next: impl FnMut(Lines) -> Option<Lines>,
) -> Reading {
    let mut findings = Findings::default();
    if file_too_large::tell(&mut findings, bytes.len()) {
        return Reading::without_program(findings);
    }
    let text = lines::body(bytes);
    if not_a_program::tell(&mut findings, text) {
        return Reading::without_program(findings);
    }
    let mut file = File::new(rules, findings);
    if !file.read(text, next) {
        return Reading::without_program(file.run.findings);
    }
    file.finish()
}

/// How far the `%` fences are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fence {
    /// Nothing but blank lines and comments yet.
    Start,
    /// Opened by a `%` at the line.
    Open(u32),
    /// Began without one.
    None,
    /// Closed, or M2 or M30 has come: nothing counts any more.
    Closed,
    /// A `%` came behind blocks that no `%` opened.
    Doubtful(u32),
}

struct File<'a> {
    run: Run<'a>,
    fence: Fence,
    lines: u32,
    blocks: u32,
    bad_blocks: u32,
    first_bad: u32,
    comments: Vec<Comment>,
    cut_short: bool,
}

impl<'a> File<'a> {
    fn new(rules: &'a ReadingRules, findings: Findings) -> Self {
        Self {
            run: Run::new(rules, findings),
            fence: Fence::Start,
            lines: 0,
            blocks: 0,
            bad_blocks: 0,
            first_bad: 0,
            comments: Vec::new(),
            cut_short: false,
        }
    }

    /// False: there is more path than can be vetted, and that was told.
    fn read(&mut self, text: &[u8], mut next: impl FnMut(Lines) -> Option<Lines>) -> bool {
        let mut rest = text;
        let mut done = Lines::default();
        'text: while let Some(lines) = next(done) {
            for line in lines.iter() {
                self.lines = self.lines.saturating_add(1);
                let own = line.of(text);
                line_too_long::tell_if_long(&mut self.run.findings, self.lines, own);
                let cut_short = self.line(line, &lines.words(line), own);
                if !line.ended {
                    self.cut_short = cut_short;
                }
                let (pieces, findings) = (self.run.torch.pieces, &mut self.run.findings);
                if file_too_large::tell_path(findings, pieces, self.lines) {
                    return false;
                }
                rest = line.behind(text);
                if self.fence == Fence::Closed {
                    break 'text;
                }
            }
            done = lines;
        }
        self.behind_the_end(rest);
        true
    }

    /// What stands behind the end is looked at and not carried out.
    fn behind_the_end(&mut self, text: &[u8]) {
        let mut after = After {
            end_line: self.lines,
            ..After::default()
        };
        let mut rest = text.trim_ascii_end();
        let mut number = self.lines;
        let mut store = Store::default();
        while !rest.is_empty() {
            let (line, next, _) = lines::next_line(rest);
            rest = next;
            number = number.saturating_add(1);
            let Some(start) = line.iter().position(|b| !b.is_ascii_whitespace()) else {
                continue;
            };
            if line[start] == b'%' {
                continue;
            }
            let at = spot(number, line, start as u32);
            after.lines = after.lines.saturating_add(1);
            after.first.get_or_insert(at);
            store.clear();
            let (head, share) = store.scan(line);
            let words = store.words(&head, &share);
            if words.acts(|m| self.run.is_torch_word(m).is_some()) {
                after.with_words = after.with_words.saturating_add(1);
                after.first_word.get_or_insert(at);
            }
        }
        after_end::tell(&mut self.run.findings, &after);
    }

    /// Whether the line stops inside a word or a comment.
    fn line(&mut self, scanned: &Line, words: &Words<'_>, line: &[u8]) -> bool {
        match scanned.kind {
            Kind::Blank => false,
            Kind::Fence => {
                self.percent(line, scanned.start);
                false
            }
            Kind::Words => {
                self.words(words, line);
                words.head.cut_short
            }
        }
    }

    fn words(&mut self, words: &Words<'_>, line: &[u8]) {
        if let Some((from, to)) = words.head.comment
            && self.comments.len() < COMMENTS_KEPT
            && let Some(text) = line.get(from as usize..to.min(from + 256) as usize)
        {
            self.comments.push(Comment {
                line: self.lines,
                text: String::from_utf8_lossy(text).trim().to_owned(),
            });
        }
        if let Some(offset) = words.head.open_comment {
            let at = Spot {
                cut: self.run.cut_number(),
                ..spot(self.lines, line, offset)
            };
            comment_open::tell(&mut self.run.findings, at);
        }
        if words.head.deleted {
            word_ignored::count(&mut self.run.ignored, "block behind /", self.lines, 1);
            return;
        }
        if words.is_empty() && words.head.fault.is_none() {
            return;
        }
        if let Fence::Doubtful(at) = self.fence {
            unreadable_block::fence_in_the_middle(&mut self.run.findings, at);
            self.fence = Fence::None;
        }
        if self.fence == Fence::Start {
            self.fence = Fence::None;
        }
        self.blocks = self.blocks.saturating_add(1);
        let ended = self.run.block(words, line, self.lines);
        if self.run.refused && words.is_unread() {
            self.bad_blocks += 1;
            if self.first_bad == 0 {
                self.first_bad = self.lines;
            }
        }
        if ended {
            self.fence = Fence::Closed;
        }
    }

    fn percent(&mut self, line: &[u8], start: usize) {
        let behind = line[start + 1..].trim_ascii();
        // A comment may name the program; anything else might be meant to be cut.
        if !behind.is_empty() && !behind.starts_with(b"(") && !behind.starts_with(b";") {
            unreadable_block::words_behind_fence(
                &mut self.run.findings,
                self.lines,
                column(line, start + 1),
            );
        }
        self.fence = match self.fence {
            Fence::Start => Fence::Open(self.lines),
            Fence::Open(_) => Fence::Closed,
            Fence::None | Fence::Doubtful(_) => Fence::Doubtful(self.lines),
            Fence::Closed => Fence::Closed,
        };
    }

    fn finish(mut self) -> Reading {
        let whole = self.blocks.saturating_sub(self.bad_blocks);
        if not_a_program::tell_if_nothing_read(
            &mut self.run.findings,
            self.blocks,
            whole,
            self.first_bad,
        ) {
            return Reading::without_program(self.run.findings);
        }
        self.run.end_of_text(self.lines.max(1));
        match self.fence {
            Fence::Closed | Fence::Doubtful(_) => {}
            Fence::Open(at) => {
                end_missing::fence_open(&mut self.run.findings, at, self.lines);
            }
            Fence::None | Fence::Start if self.cut_short => {
                end_missing::cut_short(&mut self.run.findings, self.lines);
            }
            Fence::None | Fence::Start => {
                end_missing::no_end(&mut self.run.findings, self.lines);
            }
        }
        let run = self.run;
        let mut reading = Reading {
            unit: run.first_unit(),
            decimals: run.finest_decimals(),
            lines: self.lines,
            blocks: self.blocks,
            comments: self.comments,
            tools: run.tools,
            is_program: true,
            cut_list: run.cut_list,
            findings: Vec::new(),
        };
        let mut findings = run.findings;
        units_not_stated::tell(&mut findings, run.unit_missing, &reading.cut_list);
        replaced::tell(&mut findings, &run.replaced);
        word_ignored::tell(&mut findings, &run.ignored);
        digits_excess::tell(&mut findings, &run.digits);
        reading.findings = findings.into_list();
        reading
    }
}

/// The column of a byte of a line, counted in characters from 1.
fn column(line: &[u8], offset: usize) -> u32 {
    // Bytes 10xxxxxx continue a character.
    let before = line
        .iter()
        .take(offset)
        .filter(|&&b| b & 0xc0 != 0x80)
        .count();
    before as u32 + 1
}

pub(crate) fn spot(line_number: u32, line: &[u8], offset: u32) -> Spot {
    Spot {
        line: line_number,
        column: column(line, offset as usize),
        ..Spot::default()
    }
}
