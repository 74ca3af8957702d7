//! Plane geometry that knows nothing of programs: lengths in mm, angles in degrees where they say so.

pub(crate) mod outline;
pub(crate) mod plane;
pub(crate) mod tree;
