//! What a rule lacked to judge by.

/// What a rule would have to know.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Lack {
    /// What lies on the table; which part of it, in words.
    Setup(&'static str),
    /// The ground clamp.
    Clamp,
    /// The kerf.
    Kerf,
    /// The kerf; the rule was judged without it, for the middle of the kerf alone.
    KerfInPart,
    /// A chart row.
    Row,
    /// Something of the machine file, in words.
    Machine(&'static str),
    /// A forecast that hangs on the predicted times, in words.
    Times(&'static str),
    /// What the metal does with heat.
    Metal,
    /// A measured first article.
    Article,
    /// No more path than a sheet takes.
    LessPath,
    /// A path: the program could not be read.
    Path,
}
