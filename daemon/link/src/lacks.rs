//! What a controller cannot do, what is off for that, and where a person would look for it.

use serde::{Deserialize, Serialize};

use crate::dialect::{Capability, Dialect};
use crate::words::StampedInput;

/// One thing that a table with this controller does without.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lack {
    /// A stable short name.
    pub id: String,
    /// What the controller cannot do.
    pub says: String,
    /// What is off for that, or how it goes instead.
    pub therefore: String,
    /// Where it would be.
    pub place: LackPlace,
}

/// Where a feature would be that is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LackPlace {
    /// Everywhere: it concerns every stop or every line.
    Everywhere,
    /// Where the torch is moved by hand.
    Hand,
    /// Where torch parts are changed.
    Parts,
}

/// Name, capability that is missing, what it cannot do, what is off, and where.
type Row = (
    &'static str,
    Capability,
    &'static str,
    &'static str,
    LackPlace,
);

/// Everything that may be missing. What takes away stands first. A controller that cannot touch off or
/// reference its axes when told is refused by the machine file: nothing could be cut with it.
const TABLE: [Row; 11] = [
    (
        "hold-at-once",
        Capability::HoldAtOnce,
        "The controller has no byte that brakes at once.",
        "On a hold the torch goes out by the permit relay, and moves on until what is queued is done.",
        LackPlace::Everywhere,
    ),
    (
        "torch-off-at-once",
        Capability::TorchOffAtOnce,
        "The controller has no byte that puts the torch out at once.",
        "On a hold the permit relay alone puts it out.",
        LackPlace::Everywhere,
    ),
    (
        "keepalive",
        Capability::Keepalive,
        "The controller cannot see that the panel is gone.",
        "Then the permit relay alone puts the torch out, and the motion goes on to its end.",
        LackPlace::Everywhere,
    ),
    (
        "sense-traverse",
        Capability::Sense,
        "The controller connects the sensing circuit for a touch-off alone.",
        "A torch that runs into something between two cuts is not seen. No touch-off is skipped.",
        LackPlace::Everywhere,
    ),
    (
        "sense-hand",
        Capability::Sense,
        "The controller connects the sensing circuit for a touch-off alone.",
        "By hand the torch goes up and over the sheet, not down: no contact would be seen.",
        LackPlace::Hand,
    ),
    (
        "sense-parts",
        Capability::Sense,
        "The controller connects the sensing circuit for a touch-off alone.",
        "New parts are not tried with metal in a hand: the sheet tries them.",
        LackPlace::Parts,
    ),
    (
        "line-check",
        Capability::LineCheck,
        "Lines to the controller carry no check.",
        "A line that is spoilt on its way may be carried out as another. Keep its cable short and screened.",
        LackPlace::Everywhere,
    ),
    (
        "line-numbers",
        Capability::LineNumbers,
        "Lines to the controller carry no number.",
        "A line that is lost is not sent again: it stops the job.",
        LackPlace::Everywhere,
    ),
    (
        "stamps",
        Capability::Stamps(StampedInput::ArcOk),
        "The controller does not catch the place at which the arc goes out.",
        "It is reckoned between two reports: going on cuts a longer piece twice.",
        LackPlace::Everywhere,
    ),
    (
        "executed-told",
        Capability::ExecutedTold,
        "The controller does not tell which line it has carried out.",
        "That is concluded from its coming to rest: each step of a cut takes a little longer.",
        LackPlace::Everywhere,
    ),
    (
        "arcs",
        Capability::Arcs,
        "The controller knows no arcs.",
        "They are sent as short straight pieces.",
        LackPlace::Everywhere,
    ),
];

impl Dialect {
    /// What a table with this controller does without, what takes away first.
    #[must_use]
    pub fn lacks(&self) -> Vec<Lack> {
        let missing = TABLE.into_iter().filter(|row| !self.has(row.1));
        missing
            .map(|(id, _, says, therefore, place)| Lack {
                id: id.into(),
                says: says.into(),
                therefore: therefore.into(),
                place,
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ids(dialect: &str) -> Vec<String> {
        let dialect = Dialect::from_toml(dialect).expect("a dialect");
        dialect.lacks().into_iter().map(|l| l.id).collect()
    }

    #[test]
    fn our_careful_dialect_lacks_nothing_and_the_simple_one_what_its_page_leaves_out() {
        assert_eq!(ids(crate::PLAIN), Vec::<String>::new());
        let quill = include_str!("../../../config/dialects/quill.toml");
        let wanted = [
            "torch-off-at-once",
            "keepalive",
            "sense-traverse",
            "sense-hand",
            "sense-parts",
            "line-check",
            "line-numbers",
            "stamps",
            "executed-told",
        ];
        assert_eq!(ids(quill), wanted);
    }

    #[test]
    fn each_thing_that_is_taken_out_of_a_dialect_is_told() {
        let without = |key: &str| -> Vec<String> {
            let lines = crate::PLAIN.lines();
            let kept = lines.filter(|l| !l.starts_with(key));
            ids(&kept.collect::<Vec<_>>().join("\n"))
        };
        assert_eq!(without("hold = 0x9C"), ["hold-at-once"]);
        assert_eq!(without("torch_off = 0x87"), ["torch-off-at-once"]);
        assert_eq!(without("arc_"), ["arcs"]);
        assert_eq!(
            without("sense_"),
            ["sense-traverse", "sense-hand", "sense-parts"]
        );
    }

    #[test]
    fn no_name_is_used_twice_and_each_has_its_words() {
        let mut names: Vec<_> = TABLE.iter().map(|row| row.0).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), TABLE.len());
        assert!(
            TABLE
                .iter()
                .all(|row| row.2.ends_with('.') && row.3.ends_with('.'))
        );
    }
}
