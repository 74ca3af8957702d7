//! What a line from the controller means.

use regex::Captures;
use units::{Point, Time};

use crate::dialect::{Dialect, ReportForm};
use crate::raw::Means;
use crate::words::{Doing, Stamped, Status};

/// An answer, numbers as the dialect writes them.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Answer {
    Greeting,
    Ready {
        epoch: Option<u64>,
    },
    Taken {
        number: Option<u64>,
    },
    Again {
        number: Option<u64>,
    },
    Refused {
        number: Option<u64>,
        why: String,
    },
    Touched {
        number: Option<u64>,
        z: f64,
    },
    Missed {
        number: Option<u64>,
    },
    Alarm(String),
    /// A report, and the last executed line where it is told.
    Status(Status, Option<u64>),
    Stamp(Stamped),
    Nothing,
}

/// The meaning of a line; `None` if it fits no pattern or carries a value that makes no sense.
pub(crate) fn understand(dialect: &Dialect, at: Time, body: &str) -> Option<Answer> {
    dialect
        .answers
        .patterns
        .iter()
        .find_map(|(means, pattern)| {
            let groups = pattern.captures(body)?;
            meaning(*means, &groups, dialect, at, body)
        })
}

fn meaning(
    means: Means,
    groups: &Captures<'_>,
    dialect: &Dialect,
    at: Time,
    body: &str,
) -> Option<Answer> {
    let reports = &dialect.reports;
    let queue = dialect.window.queue;
    let text = |name: &str| groups.name(name).map(|m| m.as_str());
    // A group that is there must make sense; one that is not there tells nothing.
    let whole = |name: &str| match text(name) {
        None => Some(None),
        Some(t) => t.trim().parse::<u64>().ok().map(Some),
    };
    let measure = |name: &str| match text(name) {
        None => Some(None),
        Some(t) => t
            .trim()
            .parse::<f64>()
            .ok()
            .filter(|n| n.is_finite())
            .map(Some),
    };
    let words = || text("why").unwrap_or(body).trim().to_owned();
    Some(match means {
        Means::Greeting => Answer::Greeting,
        Means::Ready => Answer::Ready {
            epoch: whole("epoch")?,
        },
        Means::Taken => Answer::Taken {
            number: whole("number")?,
        },
        Means::Again => Answer::Again {
            number: whole("number")?,
        },
        Means::Refused => Answer::Refused {
            number: whole("number")?,
            why: words(),
        },
        Means::Touched => Answer::Touched {
            number: whole("number")?,
            z: reports.length.to_mm(measure("z")??),
        },
        Means::Missed => Answer::Missed {
            number: whole("number")?,
        },
        Means::Alarm => Answer::Alarm(words()),
        Means::Nothing => Answer::Nothing,
        Means::Stamp => {
            let form = dialect.stamps.as_ref()?;
            let length = |name: &str| Some(form.length.to_mm(measure(name)??));
            let level = text("level")?;
            Answer::Stamp(Stamped {
                number: whole("number")??,
                input: *form.inputs.get(text("input")?)?,
                level: form.yes.iter().any(|y| y == level),
                place: Point::new(length("x")?, length("y")?),
                up_ms: whole("up_ms")??,
                heard_at: at,
            })
        }
        Means::Status => {
            let length = |name: &str| Some(reports.length.to_mm(measure(name)??));
            let yes = |name: &str| text(name).map(|t| reports.yes.iter().any(|y| y == t));
            let small =
                |name: &str| whole(name).map(|n| n.map(|n| u32::try_from(n).unwrap_or(u32::MAX)));
            let free = small("free")?;
            let status = Status {
                at,
                place: Point::new(length("x")?, length("y")?),
                z: length("z")?,
                feed_mm_s: measure("feed")?.map(|n| reports.feed.to_mm_s(n)),
                doing: doing(reports, text("doing")?)?,
                executed: None,
                waiting: small("waiting")?.or_else(|| {
                    free.zip(queue)
                        .map(|(free, queue)| queue.saturating_sub(free))
                }),
                queued_ms: small("queued_ms")?,
                torch: yes("torch"),
                referenced: yes("referenced"),
                up_ms: whole("up_ms")?,
            };
            Answer::Status(status, whole("executed")?)
        }
    })
}

fn doing(reports: &ReportForm, word: &str) -> Option<Doing> {
    reports.states.get(word).copied().or(reports.other)
}
