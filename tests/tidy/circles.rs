//! No two files import each other, by whatever way round: a file can be read with what lies below it
//! alone. A folder's own file (`x.rs` beside `x/`) and what is in the folder are one room, and may.
//!
//! Imports are those of the code that is built (not of its tests), as the compiler's grammar reads them;
//! a name that one file passes on (`pub use`) counts as an import of the file that it comes from.

use std::collections::{BTreeMap, BTreeSet};

use syn::visit::{self, Visit};

use crate::tree::{Tree, finds, nothing_wrong};

/// A module's path from the crate's root; the root itself is empty.
type Path = Vec<String>;

/// A crate's files by the modules that they are.
struct Crate {
    files: BTreeMap<Path, File>,
}

struct File {
    name: String,
    syntax: syn::File,
}

/// What a file names of its crate.
struct Names<'a> {
    /// The file, and the modules within it that are being read.
    at: Path,
    modules: &'a BTreeSet<Path>,
    used: BTreeSet<Path>,
    /// Names that it passes on, and what they are.
    passed_on: BTreeMap<String, Path>,
}

impl Names<'_> {
    /// The path from the crate's root; `None`: of another crate, or a name of its own.
    fn absolute(&self, path: &[String]) -> Option<Path> {
        let first = path.first()?;
        match first.as_str() {
            "crate" => Some(path[1..].to_vec()),
            "self" => Some([&self.at, &path[1..]].concat()),
            "super" => {
                let up = path.iter().take_while(|p| *p == "super").count();
                let base = self.at.len().checked_sub(up)?;
                Some([&self.at[..base], &path[up..]].concat())
            }
            _ => {
                let own = [self.at.clone(), vec![first.clone()]].concat();
                let is_module = self.modules.contains(&own);
                is_module.then(|| [&self.at, path].concat())
            }
        }
    }

    fn use_tree(&mut self, before: &[String], tree: &syn::UseTree, public: bool) {
        let with = |name: &syn::Ident| [before, &[name.to_string()]].concat();
        match tree {
            syn::UseTree::Path(p) => self.use_tree(&with(&p.ident), &p.tree, public),
            syn::UseTree::Group(g) => g
                .items
                .iter()
                .for_each(|tree| self.use_tree(before, tree, public)),
            syn::UseTree::Name(n) => self.named(with(&n.ident), n.ident.to_string(), public),
            syn::UseTree::Rename(r) => self.named(with(&r.ident), r.rename.to_string(), public),
            syn::UseTree::Glob(_) => self.named(before.to_vec(), String::new(), public),
        }
    }

    fn named(&mut self, path: Path, name: String, public: bool) {
        if let Some(path) = self.absolute(&path) {
            if public {
                self.passed_on.insert(name, path);
            } else {
                self.used.insert(path);
            }
        }
    }
}

/// Built for tests alone.
fn for_tests(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|a| {
        a.path().is_ident("cfg") && a.parse_args::<syn::Ident>().is_ok_and(|of| of == "test")
    })
}

impl<'ast> Visit<'ast> for Names<'_> {
    fn visit_item(&mut self, item: &'ast syn::Item) {
        let attributes = match item {
            syn::Item::Mod(i) => &i.attrs,
            syn::Item::Use(i) => &i.attrs,
            syn::Item::Fn(i) => &i.attrs,
            syn::Item::Impl(i) => &i.attrs,
            _ => &vec![],
        };
        if !for_tests(attributes) {
            visit::visit_item(self, item);
        }
    }

    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        self.at.push(module.ident.to_string());
        visit::visit_item_mod(self, module);
        self.at.pop();
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        let public = !matches!(item.vis, syn::Visibility::Inherited);
        self.use_tree(&[], &item.tree, public);
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let names: Path = path.segments.iter().map(|s| s.ident.to_string()).collect();
        if names.len() > 1 {
            self.used.extend(self.absolute(&names));
        }
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        // What a macro is given need not be Rust: only plain paths are looked for.
        let tokens = call.tokens.to_string().replace(" :: ", "::");
        for word in tokens.split(|c: char| !(c.is_alphanumeric() || "_:".contains(c))) {
            if word.starts_with("crate::") || word.starts_with("super::") {
                let names: Path = word.split("::").map(str::to_owned).collect();
                self.used.extend(self.absolute(&names));
            }
        }
        visit::visit_macro(self, call);
    }
}

impl Crate {
    /// From the files under a crate's `src/`, without those that are built for tests alone.
    fn of<'t>(files: impl Iterator<Item = (&'t str, &'t str)>) -> Self {
        let mut all = BTreeMap::new();
        for (name, text) in files.filter(|(name, _)| name.ends_with(".rs")) {
            let inside = name.split("/src/").nth(1).unwrap_or(name);
            let mut path: Path = inside
                .trim_end_matches(".rs")
                .split('/')
                .map(str::to_owned)
                .collect();
            if ["lib", "main", "mod"].contains(&path[path.len() - 1].as_str()) {
                path.pop();
            }
            let syntax = syn::parse_file(text).unwrap_or_else(|e| panic!("{name}: {e}"));
            let name = name.to_owned();
            all.insert(path, File { name, syntax });
        }
        let mut tests = BTreeSet::new();
        for (path, file) in &all {
            for item in &file.syntax.items {
                if let syn::Item::Mod(module) = item
                    && for_tests(&module.attrs)
                {
                    tests.insert([path.clone(), vec![module.ident.to_string()]].concat());
                }
            }
        }
        all.retain(|path, _| !(0..=path.len()).any(|k| tests.contains(&path[..k])));
        Self { files: all }
    }

    /// By file: those that it imports, but for those of its own room.
    fn imports(&self) -> BTreeMap<&Path, BTreeSet<&Path>> {
        let modules: BTreeSet<Path> = self.files.keys().cloned().collect();
        let read: BTreeMap<&Path, Names<'_>> = self
            .files
            .iter()
            .map(|(path, file)| {
                let mut names = Names {
                    at: path.clone(),
                    modules: &modules,
                    used: BTreeSet::new(),
                    passed_on: BTreeMap::new(),
                };
                names.visit_file(&file.syntax);
                (path, names)
            })
            .collect();
        let room = |a: &Path, b: &Path| {
            a.is_empty() || b.is_empty() || a.starts_with(b) || b.starts_with(a)
        };
        let of = |path: &Path| {
            let used = read[path].used.iter();
            let files = used.filter_map(|name| self.file_of(name, &read));
            files.filter(|file| !room(path, file)).collect()
        };
        self.files.keys().map(|path| (path, of(path))).collect()
    }

    /// The file that a path's name stands in, by way of those that pass it on.
    fn file_of(&self, path: &Path, read: &BTreeMap<&Path, Names<'_>>) -> Option<&Path> {
        let mut path = path.clone();
        // No name is passed on so often.
        for _ in 0..8 {
            let (file, _) = (0..=path.len())
                .rev()
                .find_map(|k| self.files.get_key_value(&path[..k]))?;
            let passed = path
                .get(file.len())
                .and_then(|name| read[file].passed_on.get(name));
            let Some(from) = passed else {
                return Some(file);
            };
            path = [from.as_slice(), &path[file.len() + 1..]].concat();
        }
        None
    }

    /// The files that import each other, a line for each such circle.
    fn circles(&self) -> Vec<String> {
        let imports = self.imports();
        let below = |from: &Path| {
            let mut seen: BTreeSet<&Path> = BTreeSet::new();
            let mut open: Vec<&Path> = imports[from].iter().copied().collect();
            while let Some(path) = open.pop() {
                if seen.insert(path) {
                    open.extend(&imports[path]);
                }
            }
            seen
        };
        let reach: BTreeMap<&Path, BTreeSet<&Path>> =
            imports.keys().map(|p| (*p, below(p))).collect();
        let mut told: BTreeSet<&Path> = BTreeSet::new();
        let mut wrong = Vec::new();
        for (path, seen) in reach.iter().filter(|(path, seen)| seen.contains(*path)) {
            let circle: Vec<&Path> = seen
                .iter()
                .copied()
                .filter(|p| reach[*p].contains(path))
                .collect();
            if told.insert(path) {
                told.extend(&circle);
                let names: Vec<&str> = circle
                    .iter()
                    .map(|p| self.files[*p].name.as_str())
                    .collect();
                wrong.push(format!("import each other: {}", names.join(", ")));
            }
        }
        wrong
    }
}

/// The crates whose files may be read from below.
const CRATES: [&str; 8] = [
    "units",
    "program",
    "process",
    "planning",
    "link",
    "control",
    "simulator",
    "service",
];

fn in_circles(tree: &Tree) -> Vec<String> {
    let of = |name: &str| Crate::of(tree.under(&format!("daemon/{name}/src/"))).circles();
    CRATES.iter().flat_map(|name| of(name)).collect()
}

#[test]
fn no_files_import_each_other() {
    nothing_wrong(&in_circles(Tree::of_repository()));
    let bad = [
        (
            "daemon/units/src/lib.rs",
            "mod a; mod b; mod c; pub use b::B;",
        ),
        ("daemon/units/src/a.rs", "use crate::B; pub struct A(B);"),
        (
            "daemon/units/src/b.rs",
            "pub struct B; fn f() { let _ = super::c::C; }",
        ),
        (
            "daemon/units/src/c.rs",
            "pub const C: u8 = 1; fn f() { println!(\"{}\", crate::a::A::N) }",
        ),
        // One room, and a test.
        ("daemon/link/src/lib.rs", "mod a;"),
        (
            "daemon/link/src/a.rs",
            "mod b; #[cfg(test)] mod tests { use crate::a::b::X; } use b::X;",
        ),
        ("daemon/link/src/a/b.rs", "use super::Y;"),
    ];
    let wrong = in_circles(&Tree::of(&bad));
    assert_eq!(wrong.len(), 1, "{wrong:?}");
    finds(
        &wrong,
        "units/src/a.rs, daemon/units/src/b.rs, daemon/units/src/c.rs",
    );
}
