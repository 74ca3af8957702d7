//! A small checker of JSON Schema (draft 7), with the words that the schema of SARIF uses; a word
//! that it does not know is a failure and not passed over.

use serde_json::Value;

/// What of a value is not as the schema says, each with its place.
pub fn faults(value: &Value, schema: &Value) -> Vec<String> {
    let mut found = Vec::new();
    check(value, schema, schema, "", &mut found);
    found
}

/// Says nothing about a value.
const SILENT: [&str; 7] = [
    "description",
    "default",
    "title",
    "$schema",
    "$id",
    "definitions",
    "format",
];

fn check(value: &Value, schema: &Value, root: &Value, at: &str, found: &mut Vec<String>) {
    let Some(schema) = schema.as_object() else {
        found.push(format!("{at}: the schema is no object"));
        return;
    };
    let mut say = |what: String| found.push(format!("{at}: {what}"));
    let mut deeper: Vec<(&Value, &Value, String)> = Vec::new();
    for (word, wanted) in schema {
        match word.as_str() {
            "$ref" => match wanted
                .as_str()
                .and_then(|r| root.pointer(r.strip_prefix('#')?))
            {
                Some(target) => deeper.push((value, target, at.to_owned())),
                None => say(format!("{wanted} is not in the schema")),
            },
            "type" => {
                if !is_of(value, wanted) {
                    say(format!("{value} is no {wanted}"));
                }
            }
            "properties" => {
                for (name, part) in wanted.as_object().into_iter().flatten() {
                    if let Some(inner) = value.get(name) {
                        deeper.push((inner, part, format!("{at}/{name}")));
                    }
                }
            }
            "additionalProperties" => {
                let known = schema.get("properties").and_then(Value::as_object);
                for (name, inner) in value.as_object().into_iter().flatten() {
                    if known.is_some_and(|k| k.contains_key(name)) {
                        continue;
                    }
                    match wanted {
                        Value::Bool(false) => say(format!("{name} is not foreseen")),
                        Value::Bool(true) => {}
                        part => deeper.push((inner, part, format!("{at}/{name}"))),
                    }
                }
            }
            "required" => {
                for name in wanted
                    .as_array()
                    .into_iter()
                    .flatten()
                    .filter_map(Value::as_str)
                {
                    if value.is_object() && value.get(name).is_none() {
                        say(format!("{name} is missing"));
                    }
                }
            }
            "items" => {
                for (k, inner) in value.as_array().into_iter().flatten().enumerate() {
                    deeper.push((inner, wanted, format!("{at}/{k}")));
                }
            }
            "minItems" => {
                if value
                    .as_array()
                    .is_some_and(|a| Some(a.len() as u64) < wanted.as_u64())
                {
                    say(format!("fewer than {wanted}"));
                }
            }
            "uniqueItems" => {
                let list = value.as_array().map_or(&[][..], Vec::as_slice);
                let twice = list.iter().enumerate().any(|(k, v)| list[..k].contains(v));
                if wanted == &Value::Bool(true) && twice {
                    say("something stands twice".to_owned());
                }
            }
            "enum" => {
                if wanted.as_array().is_none_or(|all| !all.contains(value)) {
                    say(format!("{value} is none of {wanted}"));
                }
            }
            "minimum" if value.as_f64() < wanted.as_f64() && value.is_number() => {
                say(format!("{value} is below {wanted}"));
            }
            "maximum" if value.as_f64() > wanted.as_f64() && value.is_number() => {
                say(format!("{value} is above {wanted}"));
            }
            "minimum" | "maximum" => {}
            "pattern" if value.is_string() => say("patterns are not worked out".to_owned()),
            "pattern" => {}
            "anyOf" | "oneOf" => {
                let fits = |s: &&Value| {
                    let mut inner = Vec::new();
                    check(value, s, root, at, &mut inner);
                    inner.is_empty()
                };
                let n = wanted.as_array().into_iter().flatten().filter(fits).count();
                if n == 0 || (word == "oneOf" && n > 1) {
                    say(format!("{n} of {word} fit"));
                }
            }
            word if SILENT.contains(&word) => {}
            word => say(format!("the schema's word {word} is not known here")),
        }
    }
    for (inner, part, place) in deeper {
        check(inner, part, root, &place, found);
    }
}

fn is_of(value: &Value, wanted: &Value) -> bool {
    let one = |name: &Value| match name.as_str() {
        Some("object") => value.is_object(),
        Some("array") => value.is_array(),
        Some("string") => value.is_string(),
        Some("boolean") => value.is_boolean(),
        Some("number") => value.is_number(),
        Some("integer") => value.is_i64() || value.is_u64(),
        Some("null") => value.is_null(),
        _ => false,
    };
    match wanted {
        Value::Array(several) => several.iter().any(one),
        name => one(name),
    }
}
