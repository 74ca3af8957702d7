//! Lines of one epoch between being said and being known as executed.

use std::collections::VecDeque;

use crate::dialect::WindowForm;
use crate::modal::Text;
use crate::words::Ticket;

/// So many reports in a row must tell that the count has fallen.
const FALLEN: u32 = 2;

/// One line of a command.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    pub text: Text,
    /// Which command it says; `None` for a question of the link's own.
    pub ticket: Option<Ticket>,
    /// The last line of its command.
    pub last: bool,
    /// It touches off.
    pub touch: bool,
    /// Given when it is first sent, and kept.
    number: Option<u64>,
    /// Bytes it takes up at the controller, with what was sent loose before it.
    bytes: usize,
}

impl Line {
    pub fn new(text: Text, ticket: Option<Ticket>, last: bool, touch: bool) -> Self {
        Self {
            text,
            ticket,
            last,
            touch,
            number: None,
            bytes: 0,
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Touch {
    first: u64,
    last: u64,
    ticket: Ticket,
}

/// The lines of an epoch: taken and not known as executed, in flight, waiting.
#[derive(Clone, Debug, Default)]
pub(crate) struct Flight {
    lines: VecDeque<Line>,
    /// The first so many of `lines` are in flight.
    sent: usize,
    next_number: u64,
    bytes: usize,
    /// Bytes sent between lines since the last line.
    loose: usize,
    taken: VecDeque<(u64, Ticket)>,
    touches: VecDeque<Touch>,
    executed: Option<Ticket>,
    /// The number of the last line that was told as carried out.
    executed_number: Option<u64>,
    /// So many reports in a row have told a lower number.
    fallen: u32,
    /// The number of the last line that is known to be taken.
    taken_number: Option<u64>,
}

impl Flight {
    pub fn new(first_number: u64) -> Self {
        Self {
            next_number: first_number,
            ..Self::default()
        }
    }

    pub fn push(&mut self, line: Line) {
        self.lines.push_back(line);
    }

    /// Puts a question before all lines that were never sent.
    pub fn push_next(&mut self, line: Line) {
        let at = self.lines.iter().take_while(|l| l.number.is_some()).count();
        self.lines.insert(at, line);
    }

    /// Whether a question of the link's own is still unanswered.
    pub fn asks(&self) -> bool {
        self.lines
            .iter()
            .take(self.sent + 1)
            .any(|l| l.ticket.is_none())
    }

    /// Commands of which some line is not taken.
    pub fn commands(&self) -> usize {
        self.lines
            .iter()
            .filter(|l| l.ticket.is_some() && l.last)
            .count()
    }

    pub fn in_flight(&self) -> usize {
        self.sent
    }

    /// Something was sent that is not known to be executed.
    pub fn open_ended(&self) -> bool {
        self.sent > 0 || !self.taken.is_empty()
    }

    /// The number and text of the next line to send.
    pub fn next(&self) -> Option<(u64, &Text)> {
        let line = self.lines.get(self.sent)?;
        Some((line.number.unwrap_or(self.next_number), &line.text))
    }

    /// Whether the controller surely has room for `bytes` more.
    pub fn room(&self, window: &WindowForm, bytes: usize) -> bool {
        window.lines.is_none_or(|lines| self.sent < lines)
            && window.bytes.is_none_or(|room| self.bytes + bytes <= room)
    }

    /// The next line has gone out with so many bytes; true if it had gone out before.
    pub fn went(&mut self, bytes: usize) -> bool {
        let Some(line) = self.lines.get_mut(self.sent) else {
            return false;
        };
        let again = line.number.is_some();
        let number = *line.number.get_or_insert(self.next_number);
        self.next_number = self.next_number.max(number + 1);
        line.bytes = bytes + core::mem::take(&mut self.loose);
        self.bytes += bytes;
        self.sent += 1;
        if let (true, Some(ticket)) = (line.touch && !again, line.ticket) {
            match self.touches.back_mut() {
                Some(t) if t.ticket == ticket => t.last = number,
                _ => self.touches.push_back(Touch {
                    first: number,
                    last: number,
                    ticket,
                }),
            }
        }
        again
    }

    /// Bytes went out between lines: they take up room until a line after them is taken.
    pub fn went_loose(&mut self, bytes: usize) {
        if self.sent > 0 {
            self.loose += bytes;
            self.bytes += bytes;
        }
    }

    /// The number of the oldest line in flight.
    pub fn oldest(&self) -> Option<u64> {
        if self.sent == 0 {
            return None;
        }
        self.lines.front().and_then(|l| l.number)
    }

    /// Whether a line of this number was ever sent in this epoch.
    pub fn knows(&self, number: u64) -> bool {
        number < self.next_number
    }

    /// All lines up to this number are in the controller's queue. Gives the commands completed by
    /// that, and whether anything is new.
    pub fn taken_to(&mut self, number: u64, tickets: &mut Vec<Ticket>) -> bool {
        let mut new = false;
        while let Some(line) = self.lines.front() {
            let Some(n) = line.number.filter(|n| *n <= number) else {
                break;
            };
            new = true;
            let (ticket, last, bytes) = (line.ticket, line.last, line.bytes);
            self.lines.pop_front();
            if self.sent > 0 {
                self.sent -= 1;
                self.bytes = self.bytes.saturating_sub(bytes);
            }
            self.taken_number = Some(n);
            if let (Some(ticket), true) = (ticket, last) {
                self.taken.push_back((n, ticket));
                tickets.push(ticket);
            }
        }
        if self.sent == 0 {
            self.bytes = 0;
            self.loose = 0;
        }
        new
    }

    /// All lines from this number on are to be sent again. The controller has dropped them.
    pub fn rewind_to(&mut self, number: u64) {
        let keep = self
            .lines
            .iter()
            .take(self.sent)
            .take_while(|l| l.number.is_some_and(|n| n < number))
            .count();
        self.sent = keep;
        self.loose = 0;
        self.bytes = self.lines.iter().take(keep).map(|l| l.bytes).sum();
    }

    /// Takes the number of lines that a report tells as carried out; what was told before, if it has
    /// fallen. One report may be spoilt on its way: two in a row must say so, and it is told once.
    pub fn count_fell(&mut self, told: u64) -> Option<u64> {
        let before = self.executed_number.filter(|n| told < *n);
        self.fallen = if before.is_some() { self.fallen + 1 } else { 0 };
        before.filter(|_| self.fallen == FALLEN)
    }

    /// All lines up to this number were carried out.
    pub fn executed_to(&mut self, number: u64) {
        self.executed_number = self.executed_number.max(Some(number));
        while let Some((_, ticket)) = self.taken.front().filter(|(n, _)| *n <= number) {
            self.executed = Some(*ticket);
            self.taken.pop_front();
        }
    }

    /// All lines that were taken were carried out.
    pub fn executed_all(&mut self) {
        if let Some((_, ticket)) = self.taken.drain(..).next_back() {
            self.executed = Some(ticket);
        }
    }

    pub fn executed(&self) -> Option<Ticket> {
        self.executed
    }

    /// The command that a line of this number says, if it is still known.
    pub fn ticket_of(&self, number: u64) -> Option<Ticket> {
        self.lines
            .iter()
            .find(|l| l.number == Some(number))
            .and_then(|l| l.ticket)
            .or_else(|| {
                self.taken
                    .iter()
                    .find(|(n, _)| *n >= number)
                    .map(|(_, t)| *t)
            })
    }

    /// The touch-off that an answer belongs to; it is answered once.
    pub fn touch_answered(&mut self, number: Option<u64>) -> Option<Ticket> {
        let at = match number {
            None => 0,
            Some(n) => self
                .touches
                .iter()
                .position(|t| (t.first..=t.last).contains(&n))?,
        };
        self.touches.remove(at).map(|t| t.ticket)
    }
}
