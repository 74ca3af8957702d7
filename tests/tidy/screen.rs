//! The console's modules: who may import whom, and nothing from elsewhere.

use crate::tree::{Tree, finds, nothing_wrong, numbered};

/// What a folder of `ui-static/` may import besides itself. State and drawing stay apart from the
/// wire, so that each can be tested without a browser and a screen can never decide by itself:
/// only `main.js` sees both the link and the views.
const MAY_IMPORT: [(&str, &[&str]); 5] = [
    ("lib", &[]),
    ("state", &[]),
    ("link", &["lib"]),
    ("widgets", &["lib", "state/select"]),
    ("views", &["lib", "widgets", "state/select"]),
];

/// The paths that a module imports, as written, with their lines.
fn imports(text: &str) -> Vec<(usize, &str)> {
    let mut found = Vec::new();
    for (line, code) in numbered(text) {
        let code = code.trim_start();
        if code.starts_with("//") || code.starts_with('*') || code.starts_with("/*") {
            continue;
        }
        let after = if let Some((_, after)) = code.split_once("import(") {
            Some(after)
        } else if code.starts_with("import")
            || code.starts_with("} from ")
            || code.starts_with("export")
        {
            code.split_once(" from ")
                .map(|(_, after)| after)
                .or_else(|| code.strip_prefix("import "))
        } else {
            None
        };
        let quoted = after.and_then(|after| {
            let after = after.trim_start();
            let quote = after
                .chars()
                .next()
                .filter(|c| matches!(c, '"' | '\'' | '`'))?;
            after[1..].split(quote).next()
        });
        if let Some(path) = quoted {
            found.push((line, path));
        }
    }
    found
}

/// `from` is a module's path below `ui-static/`; the answer is the imported module's.
fn resolve(from: &str, import: &str) -> String {
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in import.split('/') {
        match part {
            "." => {}
            ".." => {
                parts.pop();
            }
            other => parts.push(other),
        }
    }
    parts.join("/")
}

fn import_rules(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    for (path, text) in tree
        .under("ui-static/")
        .filter(|(path, _)| path.ends_with(".js"))
    {
        let module = &path["ui-static/".len()..];
        let folder = module.split_once('/').map(|(folder, _)| folder);
        let rule = MAY_IMPORT.iter().find(|(name, _)| Some(*name) == folder);
        if rule.is_none() && module != "main.js" {
            wrong.push(format!("{path}: no rule says what may be imported there"));
        }
        for (line, import) in imports(text) {
            if !import.starts_with("./") && !import.starts_with("../") {
                wrong.push(format!(
                    "{path}:{line}: {import} is not one of our own modules"
                ));
                continue;
            }
            let target = resolve(module, import);
            if !tree.0.contains_key(&format!("ui-static/{target}")) {
                wrong.push(format!("{path}:{line}: {import} does not exist"));
            }
            let Some((own, allowed)) = rule else { continue };
            let inside = target.starts_with(&format!("{own}/"));
            let fine = allowed
                .iter()
                .any(|a| target == format!("{a}.js") || target.starts_with(&format!("{a}/")));
            if !inside && !fine {
                wrong.push(format!("{path}:{line}: {own} may not import {target}"));
            }
        }
    }
    wrong
}

#[test]
fn modules_of_the_console_import_only_what_they_may_know() {
    nothing_wrong(&import_rules(Tree::of_repository()));
    let bad = import_rules(&Tree::of(&[
        (
            "ui-static/views/cut.js",
            "import { post } from \"../link/api.js\";\nimport \"https://x/y.js\";",
        ),
        (
            "ui-static/link/api.js",
            "import {\n  a,\n} from '../state/reduce.js';\nimport \"../lib/gone.js\";",
        ),
        (
            "ui-static/state/reduce.js",
            "export { z } from \"../lib/z.js\";",
        ),
        ("ui-static/lib/z.js", "const m = await import(`./z.js`);"),
        ("ui-static/other/odd.js", ""),
        (
            "ui-static/main.js",
            "import \"./views/cut.js\";\nimport \"./link/api.js\";",
        ),
    ]));
    finds(&bad, "views may not import link/api.js");
    finds(&bad, "https://x/y.js is not one of our own");
    finds(&bad, "link may not import state/reduce.js");
    finds(&bad, "../lib/gone.js does not exist");
    finds(&bad, "state may not import lib/z.js");
    finds(&bad, "other/odd.js: no rule");
    assert_eq!(bad.len(), 6, "{bad:?}");
}

/// The console works with no internet, and no other site learns of a shop: nothing is fetched from
/// elsewhere. (Names of XML languages look like addresses and are none.)
fn addresses(tree: &Tree) -> Vec<String> {
    tree.under("ui-static/")
        .filter(|(path, _)| {
            [".js", ".css", ".html", ".svg", ".json"]
                .iter()
                .any(|e| path.ends_with(e))
        })
        .flat_map(|(path, text)| {
            numbered(text)
                .filter(|(_, line)| {
                    let line = line.replace("http://www.w3.org/", "");
                    [
                        "http://", "https://", "ws://", "wss://", "\"//", "'//", "url(//",
                    ]
                    .iter()
                    .any(|a| {
                        line.replace("`ws://${", "")
                            .replace("`wss://${", "")
                            .contains(a)
                    })
                })
                .map(move |(k, _)| format!("{path}:{k}: an address outside this panel"))
        })
        .collect()
}

#[test]
fn the_console_fetches_nothing_from_elsewhere() {
    nothing_wrong(&addresses(Tree::of_repository()));
    let bad = addresses(&Tree::of(&[
        (
            "ui-static/index.html",
            "<script src=\"https://cdn.invalid/x.js\">\n<link href=\"//cdn.invalid/y.css\">",
        ),
        (
            "ui-static/lib/dom.js",
            "const SVG = \"http://www.w3.org/2000/svg\";",
        ),
    ]));
    assert_eq!(bad.len(), 2, "{bad:?}");
}

/// A page can push nothing under HOLD: its sides are made by `side`, whose middle gives way; a text
/// that is too long turns its pages, and is never shortened with dots nor scrolled.
fn pushes(tree: &Tree) -> Vec<String> {
    let mut wrong = Vec::new();
    for (path, text) in tree.under("ui-static/") {
        for (line, code) in numbered(text) {
            let view = path.starts_with("ui-static/views/");
            if view && code.contains("el(\"section\"") {
                wrong.push(format!("{path}:{line}: a side of a page is made by `side`"));
            }
            let style = path.ends_with(".css");
            let dots = code.contains("text-overflow") || code.contains("line-clamp");
            if style && dots {
                wrong.push(format!("{path}:{line}: no text is shortened with dots"));
            }
            let scrolls = ["overflow: auto", "overflow: scroll", "overflow-y: auto"];
            if style && scrolls.iter().any(|s| code.contains(s)) {
                wrong.push(format!("{path}:{line}: nothing scrolls"));
            }
        }
    }
    wrong
}

#[test]
fn no_page_of_the_console_can_push_a_target_or_shorten_a_text() {
    nothing_wrong(&pushes(Tree::of_repository()));
    let bad = pushes(&Tree::of(&[
        (
            "ui-static/views/held.js",
            "root.append(el(\"section\", {}));",
        ),
        (
            "ui-static/styles/views.css",
            ".a { text-overflow: ellipsis; }\n.b { overflow: auto; }\n.c { overflow: hidden; }",
        ),
    ]));
    finds(&bad, "made by `side`");
    finds(&bad, "shortened with dots");
    finds(&bad, "nothing scrolls");
    assert_eq!(bad.len(), 3, "{bad:?}");
}
