//! The rules of this repository, as tests: what matters is checked here, what is not checked here
//! is not argued about in review.
//!
//! Each rule is a function from a [`tree::Tree`] (or a manifest) to the list of what is wrong, and
//! each is run twice: on the repository, where it must find nothing, and on a small bad example,
//! where it must find something: a rule that cannot fail is no rule.

#[path = "tidy/circles.rs"]
mod circles;
#[path = "tidy/docs.rs"]
mod docs;
#[path = "tidy/guide.rs"]
mod guide;
#[path = "tidy/house.rs"]
mod house;
#[path = "tidy/screen.rs"]
mod screen;
#[path = "tidy/source.rs"]
mod source;
#[path = "tidy/supply.rs"]
mod supply;
#[path = "tidy/tree.rs"]
mod tree;
