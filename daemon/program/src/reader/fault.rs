//! A line that cannot be read.

/// What is wrong with a line, and at which byte.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Fault {
    pub offset: u32,
    pub rule: &'static str,
    pub says: String,
    pub remedy: String,
}
