//! A cutting program's text, what it means, and whether it may be cut.
//!
//! Pure: bytes come in; blocks, a cut list and a vet report go out. Knows no machine state.

use serde::{Deserialize, Serialize};

/// Proof that a job was vetted and that every warning was accepted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seal(String);
