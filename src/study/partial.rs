//! An answer for the builds that can be solved when others cannot; a note names each of the others.

use stillbed_design::{Design, LeftOut};
use stillbed_input::problem::Problems;

/// The `answer` about `design`. If that fails, the answer about those builds that can be solved alone, with
/// notes that say which builds are left out and why.
///
/// `trial` is a quicker `answer` without refinements such as draws; it is used to find the builds that fail
/// alone.
///
/// # Errors
/// Those of `answer`, if the design has one build, if no build fails alone, or if every build does.
pub fn answer_solvable<T>(
    design: &Design,
    answer: impl Fn(&Design) -> Result<T, Problems>,
    trial: impl Fn(&Design) -> Result<T, Problems>,
) -> Result<T, Problems> {
    let refused = match answer(design) {
        Err(problems) if design.builds.len() > 1 => problems,
        other => return other,
    };
    let alone = |name: &str| design.clone().only(name).map_err(Problems::from);
    let out = design.builds.iter().filter_map(|build| {
        let problems = alone(&build.name).and_then(|one| trial(&one)).err()?;
        Some(LeftOut { name: build.name.clone(), problems: problems.into() })
    });
    let out: Vec<LeftOut> = out.collect();
    if out.is_empty() || out.len() == design.builds.len() {
        return Err(refused);
    }
    answer(&design.clone().without(out))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_input::problem::Place;
    use stillbed_input::problem::Problem;

    /// Builds "a", "b" and "c" of one bar.
    fn design() -> Design {
        let one = |name: &str| {
            let part = "[{ rectangle = \"20 x 20 mm\", of = \"structural steel\" }]";
            format!("[builds.{name}.sections.bar]\nparts = {part}\n")
        };
        let drawing = "[points]\na = \"0, 0, 0 mm\"\nb = \"300, 0, 0 mm\"\n\
            [members.bar]\nfrom = \"a\"\nto = \"b\"\nsection = \"bar\"\n[feet.pads]\nat = \"a\"\nstiffness = \"1, 1, 1 N/um\"\nturning = \"1, 1, 1 kN m/rad\"\n";
        let text = drawing.to_string() + &["a", "b", "c"].map(one).concat();
        crate::design_sample::design(&text)
    }

    /// The names of all builds; an error if one of them is in `bad`.
    fn names(design: &Design, bad: &[&str]) -> Result<(Vec<String>, Vec<Problem>), Problems> {
        let names: Vec<String> = design.builds.iter().map(|build| build.name.clone()).collect();
        let refusal = |name: &&String| {
            let message = format!("build \"{name}\": it is too soft");
            vec![Problem::error(Place::file("d.toml"), message).with_help("make it stiffer")]
        };
        match names.iter().find(|name| bad.contains(&name.as_str())) {
            Some(name) => Err(refusal(&name).into()),
            None => Ok((names, design.notes.clone())),
        }
    }

    #[test]
    fn a_build_without_an_answer_is_noted_and_left_out() {
        let own = |bad: &'static [&str]| answer_solvable(&design(), |d| names(d, bad), |d| names(d, bad));
        let (builds, notes) = own(&["b"]).unwrap();
        assert_eq!(builds, ["a", "c"]);
        let note = notes.last().unwrap();
        assert_eq!(note.message, "build \"b\" is left out: it is too soft");
        assert_eq!((note.is_error(), note.help.as_deref()), (false, Some("make it stiffer")));
        assert_eq!(own(&[]).unwrap().0.len(), 3);
        assert_eq!(own(&["c", "a", "b"]).unwrap_err()[0].message, "build \"a\": it is too soft");
    }

    #[test]
    fn one_build_alone_has_no_notes_about_others() {
        let left = LeftOut { name: "b".into(), problems: names(&design(), &["b"]).unwrap_err().into() };
        let doubts = design().notes.len();
        let design = design().without(vec![left]);
        assert_eq!((design.builds.len(), design.notes.len()), (2, doubts + 1));
        assert!(design.build("b").unwrap_err().is_error());
        assert!(design.clone().only("b").is_err());
        let alone = design.only("c").unwrap();
        assert_eq!((alone.builds.len(), alone.notes.len()), (1, doubts));
    }
}
