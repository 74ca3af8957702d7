//! A program's text line by line, each scanned into its words: the part of reading that needs nothing of
//! what came before a line, and so may run ahead of the part that does, on a thread of its own.
//!
//! Linear in the text. Scanned lines refer to the text by offsets; what is scanned behind the program's
//! end is looked at by nobody.

use super::scan::{Head, Share, Store, Words};

/// So many lines are scanned at a time: few enough to stay in a processor's cache, enough that handing
/// them from thread to thread costs nothing beside the scanning.
const AT_A_TIME: usize = 512;

/// What the first character of a line says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Kind {
    /// Nothing, or nothing but spaces.
    #[default]
    Blank,
    /// A `%`.
    Fence,
    /// Words, comments, or what should be some.
    Words,
}

/// One line of the text.
#[derive(Debug)]
pub(super) struct Line {
    from: u32,
    to: u32,
    /// Where the next line begins.
    next: u32,
    /// Of the first character that is no space, from the line's start.
    pub start: usize,
    pub kind: Kind,
    /// The line has an end (LF, CR LF or CR).
    pub ended: bool,
    /// Of [`Kind::Words`] alone, as the share.
    head: Head,
    share: Share,
}

impl Line {
    /// Its characters, without its end.
    pub fn of<'t>(&self, text: &'t [u8]) -> &'t [u8] {
        text.get(self.from as usize..self.to as usize)
            .unwrap_or_default()
    }

    /// What comes behind it.
    pub fn behind<'t>(&self, text: &'t [u8]) -> &'t [u8] {
        text.get(self.next as usize..).unwrap_or_default()
    }
}

/// Some lines of a program, scanned into words; empty to begin with, and to be filled again when they
/// have been read.
#[derive(Debug, Default)]
pub struct Lines {
    lines: Vec<Line>,
    store: Store,
}

impl Lines {
    pub(super) fn iter(&self) -> core::slice::Iter<'_, Line> {
        self.lines.iter()
    }

    /// The words of one of these lines.
    pub(super) fn words<'l>(&'l self, line: &'l Line) -> Words<'l> {
        self.store.words(&line.head, &line.share)
    }
}

/// Scans a program's text, some lines at a time.
#[derive(Debug)]
pub struct Scanner<'t> {
    text: &'t [u8],
    at: usize,
}

impl<'t> Scanner<'t> {
    /// Of a program's bytes.
    #[must_use]
    pub fn new(bytes: &'t [u8]) -> Self {
        Self {
            text: body(bytes),
            at: 0,
        }
    }

    /// The next lines, in the room of lines that nobody needs any more; `None`: there are no more.
    pub fn next(&mut self, mut room: Lines) -> Option<Lines> {
        room.lines.clear();
        room.store.clear();
        while room.lines.len() < AT_A_TIME && self.at < self.text.len() {
            let line = self.scan(&mut room.store);
            room.lines.push(line);
        }
        (!room.lines.is_empty()).then_some(room)
    }

    fn scan(&mut self, store: &mut Store) -> Line {
        let rest = self.text.get(self.at..).unwrap_or_default();
        let (own, behind, ended) = next_line(rest);
        let next = self.text.len() - behind.len();
        let from = self.at as u32;
        self.at = next;
        let first = own.iter().position(|&b| b != b' ' && b != b'\t');
        let kind = match first.map(|k| own[k]) {
            None => Kind::Blank,
            Some(b'%') => Kind::Fence,
            Some(_) => Kind::Words,
        };
        let (head, share) = if kind == Kind::Words {
            store.scan(own)
        } else {
            Default::default()
        };
        Line {
            from,
            to: from + own.len() as u32,
            next: next as u32,
            start: first.unwrap_or(0),
            kind,
            ended,
            head,
            share,
        }
    }
}

/// The text without the mark that some editors put at its beginning, and the byte that others of old put at its
/// end.
pub(super) fn body(bytes: &[u8]) -> &[u8] {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    text.strip_suffix(b"\x1a").unwrap_or(text)
}

/// The first line of a text without its end (LF, CR LF or CR), what comes behind it, and whether it has
/// an end.
pub(super) fn next_line(text: &[u8]) -> (&[u8], &[u8], bool) {
    match memchr::memchr2(b'\n', b'\r', text) {
        Some(i) if text[i] == b'\r' && text.get(i + 1) == Some(&b'\n') => {
            (&text[..i], &text[i + 2..], true)
        }
        Some(i) => (&text[..i], &text[i + 1..], true),
        None => (text, &text[text.len()..], false),
    }
}
