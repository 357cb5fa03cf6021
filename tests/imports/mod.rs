//! Which files of a package import from which, read from their text.
//!
//! A name that a folder's head exports again counts for the file that defines it. Test code does not count.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// A module: the names on the way from the package to it.
type Module = Vec<String>;

/// The modules of a package with their code.
pub struct Package {
    code: BTreeMap<Module, String>,
    /// By module: where the names that it exports again are defined.
    exported: BTreeMap<Module, BTreeMap<String, Module>>,
}

/// Modules that only tests use.
fn tests_alone(name: &str) -> bool {
    ["tests", "sample", "seeds", "trials", "arbitrary", "demo", "properties", "lattice"].contains(&name)
        || name.ends_with("_tests")
}

/// The text without test code and comments.
fn code(text: &str) -> String {
    let body = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    body.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .fold(String::new(), |all, line| all + line + "\n")
}

fn walk(folder: &Path, at: &Module, found: &mut BTreeMap<Module, String>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let own: Module = at.iter().cloned().chain([name.clone()]).collect();
        if path.is_dir() {
            walk(&path, &own, found);
        } else if path.extension().is_some_and(|end| end == "rs") && !tests_alone(&name) {
            let head = ["lib", "mod"].contains(&name.as_str());
            found.insert(if head { at.clone() } else { own }, code(&fs::read_to_string(&path).unwrap()));
        }
    }
}

/// The paths of a `use`, its braces multiplied out; renamed ones by the name in the other file.
fn expanded(path: &str) -> Vec<String> {
    let Some((head, rest)) = path.split_once('{') else {
        return vec![path.split(" as ").next().unwrap_or_default().trim().to_string()];
    };
    let inner = rest.rsplit_once('}').map_or(rest, |(inner, _)| inner);
    let mut depth = 0;
    let mut parts = vec![String::new()];
    for c in inner.chars() {
        depth += match c {
            '{' => 1,
            '}' => -1,
            _ => 0,
        };
        if c == ',' && depth == 0 { parts.push(String::new()) } else { parts.last_mut().unwrap().push(c) }
    }
    let parts = parts.iter().map(|part| part.trim()).filter(|part| !part.is_empty());
    parts.flat_map(|part| expanded(&format!("{}{part}", head.trim()))).collect()
}

/// The statements `use …;` of a text, with true for those that export.
fn uses(text: &str) -> Vec<(bool, Vec<String>)> {
    let mut found = Vec::new();
    for (start, _) in text.match_indices("use ") {
        let line = &text[text[..start].rfind('\n').map_or(0, |at| at + 1)..start];
        let exports = line.trim_start().starts_with("pub");
        if (exports || line.trim().is_empty())
            && let Some(end) = text[start..].find(';')
        {
            found.push((exports, expanded(&text[start + 4..start + end].replace('\n', " "))));
        }
    }
    found
}

impl Package {
    /// Reads the files under `folder`.
    pub fn read(folder: &Path) -> Package {
        let mut code = BTreeMap::new();
        walk(folder, &Vec::new(), &mut code);
        let mut package = Package { code, exported: BTreeMap::new() };
        // A head may export what another head exports.
        for _ in 0..3 {
            let mut exported: BTreeMap<Module, BTreeMap<String, Module>> = BTreeMap::new();
            for (module, text) in &package.code {
                for path in
                    uses(text).into_iter().filter(|(exports, _)| *exports).flat_map(|(_, paths)| paths)
                {
                    if let Some(target) = package.target(module, &path) {
                        let name = path.rsplit("::").next().unwrap_or_default().to_string();
                        exported.entry(module.clone()).or_default().insert(name, target);
                    }
                }
            }
            package.exported = exported;
        }
        package
    }

    /// The module that defines what `path` names in `module`; `None` outside the package.
    fn target(&self, module: &Module, path: &str) -> Option<Module> {
        let mut names = path.split("::").peekable();
        let mut at = module.clone();
        match *names.peek()? {
            "crate" => at = Vec::new(),
            "super" | "self" => {}
            first => {
                at.push(first.to_string());
                self.code.contains_key(&at).then_some(())?;
                at.pop();
            }
        }
        for name in names {
            match name {
                "crate" | "self" => {}
                "super" => drop(at.pop()),
                name => {
                    at.push(name.to_string());
                    if !self.code.contains_key(&at) {
                        at.pop();
                        return Some(
                            self.exported.get(&at).and_then(|names| names.get(name)).cloned().unwrap_or(at),
                        );
                    }
                }
            }
        }
        Some(at)
    }

    /// By module: the modules that it imports from.
    fn imports(&self) -> BTreeMap<&Module, BTreeSet<Module>> {
        let mut imports = BTreeMap::new();
        for (module, text) in &self.code {
            let named = uses(text).into_iter().filter(|(exports, _)| !exports).flat_map(|(_, paths)| paths);
            let inline = ["super::", "crate::"].into_iter().flat_map(|start| {
                let begins =
                    |at: usize| !text[..at].ends_with(|c: char| c == ':' || c == '_' || c.is_alphanumeric());
                text.match_indices(start).filter(move |(at, _)| begins(*at)).map(|(at, _)| {
                    let path = text[at..].chars().take_while(|c| c.is_alphanumeric() || "_:".contains(*c));
                    path.collect::<String>().trim_end_matches(':').to_string()
                })
            });
            let targets = named.chain(inline).filter_map(|path| self.target(module, &path));
            let others = targets.filter(|target| target != module && self.code.contains_key(target));
            imports.insert(module, others.collect());
        }
        imports
    }

    /// Modules that import from each other, directly or through others; empty when there are none.
    pub fn circle(&self) -> Vec<String> {
        let mut imports = self.imports();
        loop {
            // What imports from nothing, or is imported by nothing, is in no circle.
            let wanted: BTreeSet<Module> = imports.values().flatten().cloned().collect();
            let free: Vec<Module> = imports
                .iter()
                .filter(|(module, on)| on.is_empty() || !wanted.contains(**module))
                .map(|(module, _)| (*module).clone())
                .collect();
            if free.is_empty() {
                break;
            }
            imports.retain(|module, _| !free.contains(module));
            imports.values_mut().for_each(|on| on.retain(|target| !free.contains(target)));
        }
        imports.iter().map(|(module, on)| format!("{} imports {on:?}", module.join("/"))).collect()
    }
}
