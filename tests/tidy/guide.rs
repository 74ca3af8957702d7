//! The builder's guide is true: its links lead somewhere, its file names exist, and its page of the
//! machine file's keys is what the types say.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use syn::{Expr, Fields, Item, Lit, Meta, Type};

use crate::tree::{Tree, finds, nothing_wrong, numbered, root};

const FOLDER: &str = "config/guide/";
const KEYS: &str = "config/guide/machine-file.md";
/// What a person types; only files that are there may be named.
const OURS: [&str; 5] = ["daemon/", "ui-static/", "config/", "tests/", "systemd/"];
/// Said on every page that tells how something is wired, fired or cut.
const LAW: &str = "Local codes and licensed people decide";

/// Targets of links and pictures, `[..](target)`.
fn links(line: &str) -> impl Iterator<Item = &str> {
    line.split("](").skip(1).filter_map(|t| t.split(')').next())
}

fn untrue(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    let is = |path: &str| {
        let path = path.trim_end_matches('/');
        tree.0.contains_key(path) || tree.under(&format!("{path}/")).next().is_some()
    };
    for (page, text) in tree.under(FOLDER).filter(|(p, _)| p.ends_with(".md")) {
        for (k, line) in numbered(text) {
            for target in links(line) {
                let file = target.split('#').next().unwrap_or(target);
                if target.contains("://") {
                    wrong.push(format!(
                        "{page}:{k}: {target} is elsewhere: there may be no network"
                    ));
                } else if !file.is_empty() && !is(&format!("{FOLDER}{file}")) {
                    wrong.push(format!("{page}:{k}: {target} leads nowhere"));
                }
            }
            for code in line.split('`').skip(1).step_by(2) {
                let plain = !code.contains([' ', '*', '<', '{']);
                if OURS.iter().any(|f| code.starts_with(f)) && plain && !is(code) {
                    wrong.push(format!("{page}:{k}: {code} does not exist"));
                }
            }
        }
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if page != KEYS && !flat.contains(LAW) {
            wrong.push(format!("{page}: does not say {LAW:?}"));
        }
        let told = format!("]({})", page.trim_start_matches(FOLDER));
        let index = tree
            .0
            .get("config/guide/index.md")
            .map_or("", String::as_str);
        if !page.ends_with("index.md") && !index.contains(&told) {
            wrong.push(format!("{page}: index.md does not lead to it"));
        }
    }
    wrong
}

#[test]
fn the_guides_links_lead_somewhere_and_its_file_names_exist() {
    let tree = Tree::of_repository();
    assert!(tree.under(FOLDER).count() >= 6, "the guide is there");
    nothing_wrong(&untrue(tree));
    let bad = untrue(&Tree::of(&[
        (
            "config/guide/index.md",
            "[a](gone.md) `tests/gone` [b](wiring.md#x) [b](wiring.md)\n[c](http://x.invalid)",
        ),
        (
            "config/guide/wiring.md",
            "Local codes and\nlicensed people decide.",
        ),
        (
            "config/guide/lost.md",
            "Local codes and licensed people decide.",
        ),
    ]));
    finds(&bad, "index.md:1: gone.md leads nowhere");
    finds(&bad, "index.md:1: tests/gone does not exist");
    finds(&bad, "index.md:2: http://x.invalid is elsewhere");
    finds(&bad, "index.md: does not say");
    finds(&bad, "lost.md: index.md does not lead to it");
    assert_eq!(bad.len(), 5, "{bad:?}");
}

/// Types that a machine file is read into, by name: those of its own file first.
struct Types {
    structs: BTreeMap<String, syn::ItemStruct>,
    enums: BTreeMap<String, syn::ItemEnum>,
}

impl Types {
    fn of(tree: &Tree) -> Self {
        let low = "daemon/service/src/config/low.rs";
        let others = tree
            .under("daemon/")
            .filter(|(p, _)| p.ends_with(".rs") && *p != low);
        let mut types = Self {
            structs: BTreeMap::new(),
            enums: BTreeMap::new(),
        };
        for (path, text) in tree.under(low).chain(others) {
            // Reading every file would take seconds: only those that read something from a file.
            if !text.contains("Deserialize") {
                continue;
            }
            let file = syn::parse_file(text).unwrap_or_else(|e| panic!("{path}: {e}"));
            for item in file.items {
                match item {
                    Item::Struct(s) if derives(&s.attrs) => {
                        types.structs.entry(s.ident.to_string()).or_insert(s);
                    }
                    Item::Enum(e) if derives(&e.attrs) => {
                        types.enums.entry(e.ident.to_string()).or_insert(e);
                    }
                    _ => {}
                }
            }
        }
        types
    }

    /// A table of the keys of this struct, then those of its tables.
    fn page(&self, name: &str, at: &str, out: &mut String) {
        let Some(of) = self.structs.get(name) else {
            panic!("{at}: no type {name} that is read from a file");
        };
        let heading = if at.is_empty() { "The file itself" } else { at };
        let _ = write!(
            out,
            "\n## {heading}\n\n| key | value | left out | |\n|---|---|---|---|\n"
        );
        let whole = has(&of.attrs, "default");
        let Fields::Named(fields) = &of.fields else {
            panic!("{name}: has no keys");
        };
        let mut inner = Vec::new();
        for field in &fields.named {
            let key = field
                .ident
                .as_ref()
                .map(ToString::to_string)
                .unwrap_or_default();
            let (value, optional, table) = self.value(&field.ty);
            let left_out = whole || optional || has(&field.attrs, "default");
            let left_out = if left_out { "may be" } else { "no" };
            let _ = writeln!(
                out,
                "| `{key}` | {value} | {left_out} | {} |",
                docs(&field.attrs)
            );
            if let Some((table, by_name)) = table {
                let dot = if at.is_empty() { "" } else { "." };
                let name_of = if by_name { ".NAME" } else { "" };
                let at = at.trim_matches(['[', ']']);
                inner.push((table, format!("[{at}{dot}{key}{name_of}]")));
            }
        }
        for (table, at) in inner {
            self.page(&table, &at, out);
        }
    }

    /// What stands after the equals sign; whether it may be left out; the table that it is, and whether by name.
    fn value(&self, ty: &Type) -> (String, bool, Option<(String, bool)>) {
        match ty {
            Type::Array(a) => {
                let n = match &a.len {
                    Expr::Lit(l) => match &l.lit {
                        Lit::Int(i) => i.to_string(),
                        _ => "some".into(),
                    },
                    _ => "some".into(),
                };
                (format!("{n} of: {}", self.value(&a.elem).0), false, None)
            }
            Type::Path(p) => {
                let Some(last) = p.path.segments.last() else {
                    return ("".into(), false, None);
                };
                let inner: Vec<&Type> = match &last.arguments {
                    syn::PathArguments::AngleBracketed(a) => a
                        .args
                        .iter()
                        .filter_map(|a| match a {
                            syn::GenericArgument::Type(t) => Some(t),
                            _ => None,
                        })
                        .collect(),
                    _ => Vec::new(),
                };
                let name = last.ident.to_string();
                match (name.as_str(), inner.as_slice()) {
                    ("Option", [of]) => {
                        let (says, _, table) = self.value(of);
                        (says, true, table)
                    }
                    ("Vec", [of]) => (format!("list of: {}", self.value(of).0), false, None),
                    ("BTreeMap", [_, of]) => {
                        let (says, _, table) = self.value(of);
                        (
                            format!("by name: {says}"),
                            false,
                            table.map(|(t, _)| (t, true)),
                        )
                    }
                    ("f64", _) => ("number".into(), false, None),
                    ("bool", _) => ("true or false".into(), false, None),
                    ("String" | "PathBuf", _) => ("text".into(), false, None),
                    ("u8" | "u16" | "u32" | "u64" | "usize", _) => {
                        ("whole number".into(), false, None)
                    }
                    _ if self.structs.contains_key(&name) => {
                        ("a table".into(), false, Some((name, false)))
                    }
                    _ => match self.enums.get(&name) {
                        Some(of) => (choices(of), false, None),
                        None => (name, false, None),
                    },
                }
            }
            _ => ("".into(), false, None),
        }
    }
}

/// The names that may be written, as `rename_all = "kebab-case"` or `rename` makes them.
fn choices(of: &syn::ItemEnum) -> String {
    let names = of.variants.iter().map(|v| {
        let renamed = serde_text(&v.attrs, "rename");
        renamed.unwrap_or_else(|| {
            let mut kebab = String::new();
            for (k, c) in v.ident.to_string().chars().enumerate() {
                if c.is_uppercase() && k > 0 {
                    kebab.push('-');
                }
                kebab.extend(c.to_lowercase());
            }
            kebab
        })
    });
    names
        .map(|n| format!("`\"{n}\"`"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn derives(attrs: &[syn::Attribute]) -> bool {
    attrs.iter().any(|a| {
        let Meta::List(list) = &a.meta else {
            return false;
        };
        a.path().is_ident("derive") && list.tokens.to_string().contains("Deserialize")
    })
}

fn serde_tokens(attrs: &[syn::Attribute]) -> impl Iterator<Item = String> {
    attrs
        .iter()
        .filter(|a| a.path().is_ident("serde"))
        .filter_map(|a| match &a.meta {
            Meta::List(list) => Some(list.tokens.to_string()),
            _ => None,
        })
}

fn has(attrs: &[syn::Attribute], word: &str) -> bool {
    serde_tokens(attrs).any(|t| {
        t.split(',')
            .any(|p| p.split('=').next().is_some_and(|k| k.trim() == word))
    })
}

fn serde_text(attrs: &[syn::Attribute], word: &str) -> Option<String> {
    serde_tokens(attrs).find_map(|t| {
        t.split(',').find_map(|p| {
            let (key, value) = p.split_once('=')?;
            (key.trim() == word).then(|| value.trim().trim_matches('"').to_owned())
        })
    })
}

/// The comment on a key, as one line.
fn docs(attrs: &[syn::Attribute]) -> String {
    let lines = attrs.iter().filter_map(|a| match &a.meta {
        Meta::NameValue(nv) if a.path().is_ident("doc") => match &nv.value {
            Expr::Lit(l) => match &l.lit {
                Lit::Str(s) => Some(s.value().trim().to_owned()),
                _ => None,
            },
            _ => None,
        },
        _ => None,
    });
    lines
        .collect::<Vec<_>>()
        .join(" ")
        .replace('|', "/")
        .replace("[`", "`")
        .replace("`]", "`")
}

fn keys_page(tree: &Tree) -> String {
    let mut out = String::from(
        "# Machine file: every key\n\n\
         Written from the types that the file is read into; a test compares. What each number is for, and the value \
         that an invented table has, stands in the example, `config/machines/example-board.toml`. A key that is \
         not here is refused, with its line. Lengths are mm, speeds mm/s, times as the key ends: `_s`, `_ms`.\n",
    );
    Types::of(tree).page("File", "", &mut out);
    out
}

#[test]
fn the_page_of_the_machine_files_keys_is_what_the_types_say() {
    let told = keys_page(Tree::of_repository());
    for key in [
        "`port`",
        "`lease_ms`",
        "`closed_is`",
        "`arc_lost_ms`",
        "[pins.inputs.NAME]",
        "`\"this-machine\"`",
    ] {
        assert!(told.contains(key), "{key} is not told:\n{told}");
    }
    let file = root().join(KEYS);
    if std::env::var_os("STANDCLEAR_WRITE_FIXTURES").is_some() {
        std::fs::write(&file, &told).expect("written");
    }
    let there = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(
        there == told,
        "{KEYS} is not what the types say: STANDCLEAR_WRITE_FIXTURES=1 cargo test --test tidy guide writes it"
    );
    // A key that is added to a type is missing on the page.
    let low = "daemon/service/src/config/low.rs";
    let with = |key: &str| {
        let text = format!("#[derive(Deserialize)]\npub struct File {{ pub name: String, {key} }}");
        keys_page(&Tree::of(&[(low, text.as_str())]))
    };
    assert!(
        with("/// Its colour.\npub colour: Option<String>,")
            .contains("| `colour` | text | may be | Its colour. |")
    );
    assert_ne!(with(""), with("pub colour: String,"));
}
