//! What is metal, and when: the setup that says what lies on the table, the kerfs that are cut into it,
//! and the pieces that it falls into.

pub(crate) mod kerfs;
pub(crate) mod pieces;
pub(crate) mod setup;
