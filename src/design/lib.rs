//! The design file as a whole, composed of the specs of the other modules, and made ready to be computed.
//!
//! ```text
//! named        things of one kind by name, and how a build's own replace the common ones
//! drawing      what a base is made of, common to all builds or of one, by name
//! goal         tool, tap, cut, speeds, targets
//! pouring      how it is poured
//! price        what it costs
//! vary         what may vary, and what must stay free
//! as_bodies    the members of a build as one body
//! substance    the materials and mixes that parts are made of
//! part_files   the files that parts of bodies are drawn in
//! shared_faces joints between two bodies, on faces that both share
//! grid_limits  how fine the grids of its bodies become
//! bodies       the bodies of a build, each reduced to a few coordinates
//! build        one way of making the base, ready to be computed
//! refining     the grids of its bodies made finer until its figures hold
//! body_sizes   the same with parts of its bodies of other sizes
//! tube         sections that are tubes or solid bars
//! held_sections where the section of a tube is kept in shape near what stands on it
//! walls        where walls and faces give under tubes that stand on them
//! seats        joints and feet that follow from their laws, under their loads
//! model        a build at one draw of its uncertain values: a frame with solved sections
//! check        names that lead nowhere, targets that cannot be judged
//! doubts       what is doubtful although it can be read
//! proportions  what the rules on beam theory need: how thick members are and what they end in
//! edit         the text of a design changed in place
//! schema       what a design file may hold, for editors
//! described    the description of each key, for the schema
//! ```

mod as_bodies;
mod bodies;
mod body_sizes;
mod build;
mod check;
mod described;
mod doubts;
mod drawing;
pub mod edit;
mod goal;
mod grid_limits;
mod held_sections;
mod model;
mod named;
mod part_files;
mod pouring;
mod price;
mod proportions;
mod refining;
mod schema;
mod seats;
mod shared_faces;
mod substance;
mod tube;
mod vary;
mod walls;

pub use bodies::BuildBody;
pub use body_sizes::BodyPartChange;
pub use build::{Build, Profile};
pub use drawing::Drawing;
pub use goal::{Cut, Goal, Measure, Speeds, Tap, Target, Tool};
pub use grid_limits::GridLimits;
pub use model::Model;
pub use named::Named;
pub use pouring::{PourSpec, TIME_HELP, time_of_day};
pub use price::{Costs, PartCost, Prices};
pub use schema::schema;
pub use substance::Substance;
pub use tube::Tube;
pub use vary::{BodyPartPlace, Choices, Gaps, PartPlace, Rack, VarySpec};

use stillbed_input::document::{Fields, Located, Reader, Uncertain};
use stillbed_input::problem::{Place, Problem, Problems, Severity, in_order};
use stillbed_input::quantity::{Fault, Kind, show};
use stillbed_material::Table;
use substance::Register;

/// A starter design, commented, that can be checked and compared as it stands.
pub const STARTER: &str = include_str!("starter.toml");

/// The smallest design there is, a bar of steel clamped at one end: its figures can be checked by hand.
pub const SMALLEST: &str = include_str!("../../examples/smallest.toml");

/// A design that can be computed.
///
/// ```
/// use stillbed_design::{Design, SMALLEST};
/// use stillbed_material::Table;
///
/// let reading = Design::read("bar.toml", SMALLEST, &Table::built_in());
/// assert_eq!(reading.design.unwrap().builds[0].name, "steel");
///
/// // What is wrong is told at its place, all in one pass.
/// let text = SMALLEST.replace("to = \"tip\"", "to = \"tap\"").replace("40 x 10 mm", "40 x 10");
/// let reading = Design::read("bar.toml", &text, &Table::built_in());
/// assert!(reading.design.is_none() && reading.problems.len() == 2);
/// assert_eq!(reading.problems[0].place.line, Some(10));
/// ```
#[derive(Debug, Clone)]
pub struct Design {
    /// The file as the user named it.
    pub file: String,
    /// Its title.
    pub title: String,
    /// What the base is for.
    pub goal: Goal,
    /// The ways of making it, in the order of the file; at least one.
    pub builds: Vec<Build>,
    /// Every quantity with a spread, at its index in a draw.
    pub uncertain: Vec<Uncertain>,
    /// What is doubtful, to be shown beside every result.
    pub notes: Vec<Problem>,
    /// Builds that cannot be computed, and why; `builds` does not contain them.
    pub left_out: Vec<LeftOut>,
}

/// A build that cannot be computed.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// Its key in the design.
    pub name: String,
    /// Why it cannot be computed, as errors at their places.
    pub problems: Vec<Problem>,
}

/// The result of reading a design.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The design, when nothing is wrong with it except builds that can be left out.
    pub design: Option<Design>,
    /// Everything wrong or doubtful, in the order of the file.
    pub problems: Vec<Problem>,
}

impl Design {
    /// Reads a design from `text`; `file` is its name in messages, `table` the known materials. Where parts of bodies
    /// are drawn in files, begin with [`Stated::read`] and [`Stated::supply`].
    #[must_use]
    pub fn read(file: &str, text: &str, table: &Table) -> Reading {
        Stated::read(file, text).resolve(table)
    }

    /// The build called `name`.
    ///
    /// # Errors
    /// The problem, with the nearest known name.
    pub fn build(&self, name: &str) -> Result<&Build, Problem> {
        self.builds.iter().find(|build| build.name == name).ok_or_else(|| {
            let left_out = self.left_out.iter().filter(|left| left.name == name);
            if let Some(problem) = left_out.flat_map(|left| &left.problems).next() {
                return problem.clone();
            }
            let known = self.builds.iter().map(|build| build.name.as_str());
            Problem::error(
                Place { key: "--build".to_string(), ..Place::file(&self.file) },
                format!("no build \"{name}\""),
            )
            .with_help(stillbed_input::problem::suggest(name, known))
        })
    }

    /// Takes losses at `amplitude`, m, instead of at the amplitude in the file; where no loss depends on it,
    /// a note says so.
    pub fn take_losses_at(&mut self, amplitude: f64, place: Place) {
        match &mut self.goal.amplitude {
            Some(taken) => *taken = amplitude,
            None => self.notes.push(no_loss_at(place, amplitude)),
        }
    }

    /// What is doubtful about making the base rather than about computing it: too little binder for the
    /// voids, missing prices.
    #[must_use]
    pub fn doubts_of_making(&self) -> Vec<Problem> {
        doubts::of_making(&self.builds)
    }

    /// The design with only the build called `name`; what other builds lack then no longer matters.
    ///
    /// # Errors
    /// As [`Design::build`].
    pub fn only(mut self, name: &str) -> Result<Design, Problem> {
        let build = self.build(name)?.clone();
        let others: Vec<Problem> = self.left_out.drain(..).flat_map(|left| left.notes()).collect();
        self.notes.retain(|note| !others.contains(note));
        self.builds = vec![build];
        Ok(self)
    }

    /// The design without the builds of `left_out`; for each a note says why.
    pub fn without(mut self, left_out: Vec<LeftOut>) -> Design {
        self.builds.retain(|build| left_out.iter().all(|left| left.name != build.name));
        self.notes.extend(left_out.iter().flat_map(LeftOut::notes));
        self.left_out.extend(left_out);
        self
    }

    /// What shows only when the builds are assembled as frames. First the builds that cannot be computed:
    /// with faults of geometry, mechanisms, or rails that are not straight. Then what is doubtful about the
    /// members of the others.
    fn as_frames(&self, solved: &SolvedBodies) -> (Vec<LeftOut>, Vec<Problem>) {
        let draw = stillbed_input::quantity::Draw::default();
        let (mut left_out, mut doubtful) = (Vec::new(), Vec::new());
        for build in &self.builds {
            let whole = match solved.includes(build) {
                true => build.model(&self.goal, &draw).map(Some),
                false => build.weights(&self.goal, &draw).map(|_| None),
            };
            let problems: Problems = match whole {
                Ok(None) => Vec::new().into(),
                Ok(Some(model)) => {
                    // Members that are bodies are lines no longer.
                    let thermal =
                        self.goal.thermal.as_ref().filter(|_| build.drawing.as_bodies != Some(true));
                    let lines = thermal.map(|thermal| thermal.lines(&model.frame));
                    let bent = lines.and_then(Result::err).unwrap_or_default();
                    let faults = build.statics(&model).err().map(|fault| build.problems(&fault));
                    let faults = faults.unwrap_or(bent);
                    if faults.is_empty() {
                        doubtful.extend(doubts::of_model(build, &model));
                    }
                    faults
                }
                Err(problems) => problems,
            };
            if !problems.is_empty() {
                left_out.push(LeftOut { name: build.name.clone(), problems: problems.into() });
            }
        }
        (left_out, doubtful)
    }
}

impl LeftOut {
    /// The same as warnings, for results about the other builds.
    fn notes(&self) -> Vec<Problem> {
        let note = |problem: &Problem| {
            let said = problem.message.trim_start_matches(&format!("build \"{}\": ", self.name));
            let message = format!("build \"{}\" is left out: {said}", self.name);
            Problem { severity: Severity::Warning, message, ..problem.clone() }
        };
        self.problems.iter().map(note).collect()
    }
}

fn no_loss_at(place: Place, amplitude: f64) -> Problem {
    let message = format!(
        "no joint or foot states its loss at an amplitude; {} changes nothing",
        show(amplitude, Kind::Length)
    );
    Problem::warning(place, message)
        .with_help("state one, as in loss = [\"0.05 at 0.1 um\", \"0.2 at 10 um\"]")
}

fn is_sound(problems: &[Problem]) -> bool {
    !problems.iter().any(Problem::is_error)
}

/// Whose bodies are solved when a design is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SolvedBodies<'n> {
    /// Those of every build.
    All,
    /// Those of the build of this name.
    Of(&'n str),
    /// None: sections, mixes and castings do not ask how a body moves.
    None,
}

impl SolvedBodies<'_> {
    fn includes(&self, build: &Build) -> bool {
        build.bodies.is_empty()
            || match self {
                SolvedBodies::All => true,
                SolvedBodies::Of(name) => build.name == *name,
                SolvedBodies::None => false,
            }
    }
}

/// What a file states, before materials are looked up and sections meshed.
pub struct Stated {
    file: String,
    title: String,
    goal: Goal,
    /// Each with its whole drawing: the common one, with the build's own things replacing those of the same
    /// name.
    builds: Vec<(StatedBuild, Drawing)>,
    uncertain: Vec<Uncertain>,
    problems: Vec<Problem>,
    /// How fine the grids of its bodies are to be.
    pub grid_limits: GridLimits,
}

impl Stated {
    /// Reads what `text` states; `file` is its name in messages.
    pub fn read(file: &str, text: &str) -> Stated {
        let reader = Reader::new(file, text);
        let Sheet { title, mut goal, amplitude_place, common, builds: stated } = Sheet::read(reader.root());
        // Members need two points; a body is held by one.
        let has_bodies = |drawing: &Drawing| !drawing.bodies.is_empty() || drawing.bodies.is_broken();
        let bodies = has_bodies(&common) || stated.iter().any(|build| has_bodies(&build.drawing));
        if common.points.len() < if bodies { 1 } else { 2 }
            && !common.points.is_broken()
            && stated.iter().all(|b| b.drawing.points.is_empty())
        {
            let message = format!("the drawing has {} points, not two or more", common.points.len());
            reader.say(
                Problem::error(Place::file(file), message)
                    .with_help("add [points] with NAME = \"0, 0, 0 mm\"; stillbed new writes a starter"),
            );
        }
        let drawings: Vec<Drawing> = stated.iter().map(|build| common.replaced_by(&build.drawing)).collect();
        let views: Vec<&Drawing> = drawings.iter().collect();
        let smallest = views.iter().flat_map(|d| d.loss_amplitudes()).reduce(f64::min);
        if let (Some(amplitude), None) = (goal.amplitude, smallest) {
            reader.say(no_loss_at(amplitude_place, amplitude));
        }
        goal.amplitude = smallest.map(|smallest| goal.amplitude.unwrap_or(smallest));
        for problem in check::joints_of_no_build(&views)
            .into_iter()
            .chain(check::sections_of_no_build(&views))
            .chain(check::areas_of_no_body(&views))
            .chain(check::targets(&goal, &views))
        {
            reader.say(problem);
        }
        for (build, drawing) in stated.iter().zip(&drawings) {
            let said = [
                check::names(drawing, &build.name.value, &build.name.place, &views),
                check::goal_names(&goal, drawing),
                doubts::of_drawing(drawing),
            ];
            said.into_iter().flatten().for_each(|problem| reader.say(problem));
        }
        let broken = reader.is_broken();
        let (problems, uncertain) = reader.finish();
        let builds = stated.into_iter().zip(drawings).filter(|_| !broken).collect();
        let grid_limits = GridLimits::USUAL;
        Stated { file: file.to_string(), title, goal, builds, uncertain, problems, grid_limits }
    }

    /// The heading for results about the design, or about its build called `build` alone: the title, or else
    /// the file. `None` where it is already certain that there is no result.
    #[must_use]
    pub fn heading(&self, build: Option<&str>) -> Option<&str> {
        let known = build.is_none_or(|name| self.builds.iter().any(|(stated, _)| stated.name.value == name));
        let title = if self.title.is_empty() { &self.file } else { &self.title };
        (known && is_sound(&self.problems)).then_some(title)
    }

    /// The files that parts of bodies are drawn in, as the design names them, each where it is first named.
    #[must_use]
    pub fn files(&self) -> Vec<Located<String>> {
        part_files::named(self.builds.iter().map(|(_, drawing)| drawing))
    }

    /// Takes in the content of these files; `read` gives the bytes of one, or says why it cannot.
    pub fn supply(&mut self, read: impl FnMut(&str) -> Result<Vec<u8>, Fault>) {
        let drawings = self.builds.iter_mut().map(|(_, drawing)| drawing);
        self.problems.extend(part_files::supply(drawings, read));
    }

    /// The same with the members of all builds as bodies.
    #[must_use]
    pub fn as_bodies(mut self) -> Stated {
        self.builds.iter_mut().for_each(|(_, drawing)| drawing.as_bodies = Some(true));
        self
    }

    /// The same with bodies that stay on their first grids: the figures of some hold to a few parts in a hundred so.
    #[must_use]
    pub fn on_first_grids(mut self) -> Stated {
        self.grid_limits = GridLimits::FIRST;
        self
    }

    /// The design, with materials from `table`.
    #[must_use]
    pub fn resolve(self, table: &Table) -> Reading {
        self.resolve_for(table, &SolvedBodies::All)
    }

    /// The same with as many bodies solved as an answer needs, since that takes seconds; that a body cannot be solved, or
    /// a build with it not be assembled, shows only where it is.
    #[must_use]
    pub fn resolve_for(self, table: &Table, solved: &SolvedBodies) -> Reading {
        let Stated { file, title, goal, builds: stated, uncertain, mut problems, grid_limits } = self;
        let mut register = Register::new(uncertain);
        let mut builds = Vec::new();
        for (stated, mut drawing) in stated {
            if drawing.as_bodies == Some(true) {
                let (united, doubt) = as_bodies::united(drawing, &goal);
                drawing = united;
                problems.extend(doubt);
            }
            let (mut build, said) = Build::resolve(stated.name, stated.label, drawing, table, &mut register);
            problems.extend(said);
            if let Some(build) = &mut build {
                let patient = grid_limits == GridLimits::USUAL && build.drawing.as_bodies == Some(true);
                build.grid_limits = if patient { GridLimits::PATIENT } else { grid_limits };
                problems.extend(build.settle(&goal, table, &mut register));
            }
            problems.extend(build.iter().flat_map(doubts::of_bodies));
            builds.extend(build);
        }
        // A problem of the whole design has no line, but it has the file.
        let at_home = |mut problem: Problem| {
            problem.place.file.get_or_insert_with(|| file.clone());
            problem
        };
        let problems: Vec<Problem> = problems.into_iter().map(at_home).collect();
        let mut reading = Reading { design: None, problems: in_order(problems) };
        if is_sound(&reading.problems) {
            let uncertain = register.uncertain;
            let mut design =
                Design { file, title, goal, builds, uncertain, notes: Vec::new(), left_out: Vec::new() };
            let (faults, doubts) = design.as_frames(solved);
            reading.problems.extend(doubts);
            design.notes = in_order(reading.problems.clone());
            reading.problems.extend(faults.iter().flat_map(|left| left.problems.clone()));
            reading.problems = in_order(reading.problems);
            reading.design = (faults.len() < design.builds.len()).then(|| design.without(faults));
        }
        reading
    }
}

/// The contents of a file as they are read, before checks.
struct Sheet {
    title: String,
    goal: Goal,
    amplitude_place: Place,
    common: Drawing,
    builds: Vec<StatedBuild>,
}

impl Sheet {
    fn read(root: Fields) -> Sheet {
        let title = root.text("title").map_or(String::new(), |t| t.value);
        let goal = Goal::read(&root);
        let amplitude_place = root.place_of("amplitude");
        let common = Drawing::read(&root);
        let builds = read_builds(&root);
        root.finish();
        Sheet { title, goal, amplitude_place, common, builds }
    }
}

struct StatedBuild {
    name: Located<String>,
    label: Option<String>,
    drawing: Drawing,
}

fn read_builds(root: &Fields) -> Vec<StatedBuild> {
    if !root.has("builds") {
        root.refuse(
            "builds",
            "no build says what the sections are made of",
            "add [builds.steel] and below it sections.NAME.parts = [{ tube = \"60 x 40 x 3 mm\", of = \"structural steel\" }]",
        );
    }
    let Some(table) = root.fields("builds") else {
        return Vec::new();
    };
    let mut builds = Vec::new();
    for (name, fields) in table.entries() {
        let label = fields.text("label").map(|label| label.value);
        let drawing = Drawing::read(&fields);
        fields.finish();
        builds.push(StatedBuild { name, label, drawing });
    }
    if builds.is_empty() {
        root.refuse("builds", "there is no build", "add [builds.steel] with its sections");
    }
    table.finish();
    builds
}

#[cfg(test)]
#[path = "../../tests/seeds/mod.rs"]
mod seeds;

#[cfg(test)]
mod arms_tests;
#[cfg(test)]
mod columns_tests;
#[cfg(test)]
mod slab_sample;
#[cfg(test)]
mod solved_tests;
#[cfg(test)]
mod walls_tests;
