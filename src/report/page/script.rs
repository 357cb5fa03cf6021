//! The page's script: modules joined into one, since the page loads no other file.
//!
//! ```text
//! drawing     elements, pointer and keys of all drawings
//! saving      drawings as SVG, values as CSV
//! axis        ticks, and places along an axis
//! curve       a stretch of a curve and its cursor
//! zoom        reading values off a curve, showing it closer
//! projection  points of a machine as they are seen and displaced
//! surface     its faces, the near ones over the far ones
//! names       names beside it
//! wireframe   a machine, turned and displaced
//! motion      turning it, letting it move
//! sound       the sound of a tap
//! figure      what each figure of a page gets
//! start       gives it to all figures
//! ```

/// Name and text of each module; a module imports from those before it. The last starts the page of a report.
pub const MODULES: [(&str, &str); 13] = [
    ("drawing.js", include_str!("script/drawing.js")),
    ("saving.js", include_str!("script/saving.js")),
    ("axis.js", include_str!("script/axis.js")),
    ("curve.js", include_str!("script/curve.js")),
    ("zoom.js", include_str!("script/zoom.js")),
    ("projection.js", include_str!("script/projection.js")),
    ("surface.js", include_str!("script/surface.js")),
    ("names.js", include_str!("script/names.js")),
    ("wireframe.js", include_str!("script/wireframe.js")),
    ("motion.js", include_str!("script/motion.js")),
    ("sound.js", include_str!("script/sound.js")),
    ("figure.js", include_str!("script/figure.js")),
    ("start.js", include_str!("script/start.js")),
];

/// All modules in one scope, without their imports and exports.
pub(super) fn joined() -> String {
    let mut script = String::from("\n\"use strict\";\n(() => {\n");
    for line in MODULES.iter().flat_map(|(_, text)| text.lines()) {
        if !line.starts_with("import ") {
            script += line.strip_prefix("export ").unwrap_or(line);
            script.push('\n');
        }
    }
    script + "})();\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// The name that `line` declares for its whole module.
    fn declared(line: &str) -> Option<&str> {
        let line = line.strip_prefix("export ").unwrap_or(line);
        let rest = line.strip_prefix("const ").or_else(|| line.strip_prefix("let "))?;
        rest.split(' ').next()
    }

    #[test]
    fn a_module_imports_what_stands_before_it_and_no_name_twice() {
        let (mut before, mut names) = (BTreeSet::new(), BTreeSet::new());
        for (name, text) in MODULES {
            for line in text.lines().filter(|line| line.starts_with("import ")) {
                let from = line.split('"').nth(1).and_then(|path| path.strip_prefix("./"));
                assert!(from.is_some_and(|from| before.contains(from)), "{name}: {line}");
                assert!(line.ends_with(';'), "{name}: an import of several lines is not taken out: {line}");
            }
            for declared in text.lines().filter_map(declared) {
                assert!(names.insert(declared), "{name}: {declared} is declared in another module too");
            }
            before.insert(name);
        }
    }

    #[test]
    fn nothing_is_left_to_load() {
        let script = joined();
        assert!(!script.lines().any(|line| line.starts_with("import") || line.starts_with("export")));
        assert!(!script.contains("</") && !script.contains("<!--"));
    }
}
