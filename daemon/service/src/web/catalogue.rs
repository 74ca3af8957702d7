//! The console's copy of the panel's words, as a script: written here from the catalogue of `control`,
//! so that glass, journal and command line say the same. `STANDCLEAR_WRITE_FIXTURES=1 cargo test
//! catalogue` writes it.

use std::path::Path;

use control::commissioning::Step as Proof;
use control::view::{Step, Waiting};
use control::{Cause, resume::Way, words};
use serde::Serialize;
use serde_json::{Map, Value, json};
use strum::VariantArray;

/// An object with one entry for each of `all`, under the names that the messages have for them.
fn by_name<T: Serialize + Copy>(all: &[T], say: impl Fn(T) -> Value) -> Value {
    let entry = |one: &T| match serde_json::to_value(one) {
        Ok(Value::String(name)) => (name, say(*one)),
        other => panic!("no name: {other:?}"),
    };
    let said = all.iter().map(entry).filter(|(_, words)| !words.is_null());
    Value::Object(said.collect::<Map<_, _>>())
}

fn script() -> String {
    let tables = [
        (
            "Names of causes in a list.",
            "CAUSE",
            by_name(&Cause::ALL, |c| json!(words::cause(c).name)),
        ),
        (
            "Far words of holds, where a cause has its own.",
            "HELD",
            by_name(&Cause::ALL, |c| json!(words::cause(c).far)),
        ),
        (
            "Far words of the steps of a cut.",
            "STEP",
            by_name(Step::VARIANTS, |s| json!(words::step(s))),
        ),
        (
            "What is waited for, long for 10 inches, short for 7.",
            "WAITING",
            by_name(Waiting::VARIANTS, |w| {
                let words = words::waiting(w);
                json!([words.long, words.short])
            }),
        ),
        (
            "A way on from a stop, as a choice.",
            "WAY",
            by_name(Way::VARIANTS, |w| json!(words::way(w).name)),
        ),
        (
            "The steps of commissioning: what is done, when it has passed and where that limit is from.",
            "PROOF",
            by_name(&Proof::ALL, |step| {
                let f = step.facts();
                json!({
                    "number": step.number(), "name": f.name, "guards": f.guards,
                    "todo": f.todo, "limit": f.limit, "source": f.source,
                })
            }),
        ),
    ];
    let mut text = String::from(
        "// Written from the panel's catalogue of words: change them there (daemon/control/src/words).\n",
    );
    for (what, name, table) in tables {
        let table = serde_json::to_string_pretty(&table).expect("JSON");
        text.push_str(&format!(
            "\n/** {what} */\nexport const {name} = {table};\n"
        ));
    }
    text
}

#[test]
fn the_console_says_what_the_catalogue_says() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("ui-static/state/catalogue.js");
    let now = script();
    if std::env::var_os("STANDCLEAR_WRITE_FIXTURES").is_some() {
        std::fs::write(&file, &now).expect("a file");
    }
    let kept = std::fs::read_to_string(&file).unwrap_or_default();
    assert_eq!(
        kept, now,
        "the catalogue has changed: write the script anew"
    );
}
