//! What is said about a dialect file that is wrong: where, what, and what to do.

use link::{Dialect, PLAIN};

const QUILL: &str = include_str!("../../../config/dialects/quill.toml");

/// The complaint about a good file in which one thing was changed.
#[track_caller]
fn complaint(good: &str, from: &str, to: &str) -> String {
    assert!(good.contains(from), "{from} is in the file");
    let bad = good.replace(from, to);
    let error = Dialect::from_toml(&bad).expect_err("it was spoilt");
    format!("{from}\n  -> {to}\n  {error}\n\n")
}

#[test]
fn each_mistake_is_named_with_its_key_and_a_remedy() {
    let plain = |from, to| complaint(PLAIN, from, to);
    let quill = |from, to| complaint(QUILL, from, to);
    let all = [
        plain("torch_off = \"M5\"", "torch_off = \"M3\""),
        quill("torch_off = \"M05\"", "torch_off = \"m3\""),
        plain("torch_off = \"M5\"", "torch_off = \"\""),
        plain("torch_off = \"M5\"", "torch_off = [\"M5\", \" \"]"),
        plain("sense_off = \"sense off\"", "sense_off = \"Sense  ON\""),
        quill(
            "lines = [\"M05\", \"drop all\"]",
            "lines = [\"M03\", \"drop all\"]",
        ),
        quill("home = \"seek zero\"", "home = [\"seek zero\", \"M3\"]"),
        quill(
            "arc_anticlockwise = \"G03 X{x:.3} Y{y:.3} I{i:.3} J{j:.3} F{feed}\"",
            "arc_anticlockwise = \"G02 X{x:.3} Y{y:.3} I{i:.3} J{j:.3} F{feed}\"",
        ),
        plain("every_ms = 100", "every_ms = 10000"),
        quill("every_ms = 50", "every_ms = 500"),
        quill("retry_ms = 800", "retry_ms = 100"),
        plain("[\"F{feed}\"]]", "[\"F{feed}\", \"G1\"]]"),
        plain("[\"F{feed}\"]]", "[\"X{x}\"]]"),
        plain("[\"F{feed}\"]]", "[\"X10 F{feed}\"]]"),
        plain("[\"G1\", \"G2\", \"G3\"]", "[\"G1\", \"G2\"]"),
        plain("Y{y} F{feed}\"\narc", "Y{y}F{feed}\"\narc"),
        quill("[bytes]", "[modal]\nwords = [[\"F{feed}\"]]\n[bytes]"),
        plain("name = \"plain\"", "nam = \"plain\""),
        plain("longest = 120", "longest = 12000"),
        plain(
            "line = \"G1 X{x} Y{y} F{feed}\"",
            "line = \"G1 X{x} Y{v} F{feed}\"",
        ),
        plain(
            "line = \"G1 X{x} Y{y} F{feed}\"",
            "line = \"G1 X{x} F{feed}\"",
        ),
        plain("line = \"G1 X{x} Y{y} F{feed}\"", "line = \"G1 X{x\""),
        plain(
            "line = \"G1 X{x} Y{y} F{feed}\"",
            "line = \"G1 X{x:9q} Y{y} F{feed}\"",
        ),
        plain("torch_on = \"M3\"", "torch_on = \"M3\\n\""),
        plain("torch_on = \"M3\"", "torch_on = []"),
        plain("sense_off = \"sense off\"", ""),
        plain(
            "frame = \"{length:02X}{check:04X} {body}\"",
            "frame = \"{length:02X} {body}\"",
        ),
        plain("kind = \"crc16\"", "kind = \"crc12\""),
        plain("hold = 0x9C", "hold = 0x1C"),
        plain("hold = 0x9C", "hold = 0x41"),
        plain("hold = 0x9C", "hold = 0x8A"),
        plain("hold = 0x9C", "hold = 0x87"),
        plain("'^taken (?<number>\\d+)$'", "'^taken (?<number>\\d+$'"),
        plain("'^taken (?<number>\\d+)$'", "'^taken \\d+$'"),
        plain(
            "'^ready (?<epoch>\\d+)$'",
            "'^ready (?<epoch>\\d+) (?<mood>.*)$'",
        ),
        plain("means = \"taken\"", "means = \"took\""),
        plain("means = \"ready\"", "means = \"nothing\""),
        plain("confirm = \"ready\"", "confirm = \"taken\""),
        plain("number = 0\n", ""),
        plain(
            "lines = [\"begin {epoch} every {report_ms}\"]",
            "lines = []",
        ),
        plain("bytes = 256", "bytes = 100"),
        plain("executed = \"told\"", "executed = \"guessed\""),
        plain("first_number = 1", "first_number = 0"),
        plain("inputs = { arc = \"arc-ok\" }", "inputs = {}"),
        plain(
            "inputs = { arc = \"arc-ok\" }",
            "inputs = { arc = \"arc\" }",
        ),
        plain(
            "inputs = { arc = \"arc-ok\" }",
            "inputs = { arc = \"arc-ok\", fire = \"arc-ok\" }",
        ),
        plain(
            "[[answer]]\nmeans = \"stamp\"\npattern = '^edge (?<number>\\d+) (?<input>[a-z]+) (?<level>[01]) x(?<x>-?[\\d.]+) y(?<y>-?[\\d.]+) u(?<up_ms>\\d+)$'\n",
            "",
        ),
        plain("yes = [\"1\"]", ""),
        plain(
            "u(?<up_ms>\\d+)$'\n\n[[answer]]\nmeans = \"taken\"",
            "u\\d+$'\n\n[[answer]]\nmeans = \"taken\"",
        ),
        plain(
            "[stamps]\n# Its word",
            "[[answer]]\nmeans = \"nothing\"\npattern = 'x'\n[stamp]\n# Its word",
        ),
        quill(
            "[[answer]]\nmeans = \"taken\"",
            "[[answer]]\nmeans = \"stamp\"\npattern = '^caught (?<number>\\d+) (?<input>.) (?<level>.) (?<x>.) (?<y>.) (?<up_ms>.)$'\n\n[[answer]]\nmeans = \"taken\"",
        ),
        quill("longest = 62", "longest = 80"),
        quill("ask_byte = 0x05", ""),
        quill("ask_byte = 0x05", "ask_byte = 0x41"),
        quill("resting = \"idle\"", "resting = \"running\""),
        quill("executed = \"inferred\"", "executed = \"told\""),
        quill("means = \"missed\"", "means = \"nothing\""),
        quill("retry_ms = 800", "retry_ms = 800\nlead = \"\\r\""),
        quill(
            "[[answer]]\nmeans = \"taken\"",
            "[[answer]]\nmeans = \"again\"\npattern = 'what\\?'\n\n[[answer]]\nmeans = \"taken\"",
        ),
    ];
    insta::assert_snapshot!(all.concat());
}

#[test]
fn both_shipped_dialects_are_good() {
    for text in [PLAIN, QUILL] {
        let d = Dialect::from_toml(text).expect("it is a dialect");
        assert!(!d.about.is_empty());
    }
}
