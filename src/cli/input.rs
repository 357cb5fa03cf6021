//! The inputs shared by all commands that read a design: file, build, materials, draws, amplitude.

use super::ending::Failure;
use super::files;
use super::output::Output;
use super::part_files::{PartFiles, named_by};
use super::paths::Paths;
use std::path::{Path, PathBuf};
use stillbed_design::{Design, GridLimits, SolvedBodies, Stated};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{self, Kind};
use stillbed_material::Table;
use stillbed_report::DesignIdentity;
use stillbed_study::spread::Draws;

/// The design, and the materials known beside the built-in ones.
#[derive(clap::Args)]
pub(super) struct Input {
    /// The design file
    #[arg(value_name = "DESIGN.toml")]
    pub design: PathBuf,
    /// Answer for this build alone
    #[arg(long, value_name = "NAME")]
    pub build: Option<String>,
    #[command(flatten)]
    pub solids: SolidsOptions,
    #[command(flatten)]
    pub part_files: PartFiles,
    #[command(flatten)]
    pub known: MaterialsOption,
}

/// What is answered by solids, and how finely.
#[derive(clap::Args, Clone, Copy, Default)]
pub(super) struct SolidsOptions {
    /// Answer from the members as one body, every section drawn along its member, instead of as beams
    #[arg(long)]
    as_bodies: bool,
    /// Solve bodies on finer grids, until frequencies and stiffness hold to 0.1 % (minutes and gigabytes); else to 1 %
    #[arg(long)]
    fine: bool,
}

impl SolidsOptions {
    /// `stated`, to be answered so.
    fn take(self, mut stated: Stated) -> Stated {
        if self.as_bodies {
            stated = stated.as_bodies();
        }
        if self.fine {
            stated.grid_limits = GridLimits::FINE;
        }
        stated
    }
}

/// Materials known beside the built-in ones.
#[derive(clap::Args)]
pub(super) struct MaterialsOption {
    /// A table of materials to add to the built-in one, or to override it with
    #[arg(long, value_name = "FILE.csv")]
    pub materials: Option<PathBuf>,
}

/// How the spreads of a design are carried through.
#[derive(clap::Args)]
pub(super) struct SpreadOptions {
    /// Draws of the uncertain values, at most 20 000; 0 leaves the spreads out
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u16).range(..=MOST_DRAWS))]
    draws: u16,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

impl SpreadOptions {
    /// The number of draws and their seed.
    pub fn draws(&self) -> Draws {
        Draws { count: usize::from(self.draws), seed: self.seed }
    }
}

/// Default number of draws for commands whose spreads are a side result.
pub(super) const FEW_DRAWS: u16 = 60;

/// Largest number of draws: enough to know the 5 % and 95 % limits to a few thousandths.
const MOST_DRAWS: i64 = 20_000;

/// How the spreads of a design are carried through where few draws will do.
#[derive(clap::Args)]
pub(super) struct FewDraws {
    /// Draws of the uncertain values, at most 20 000; 0 leaves the spreads out
    #[arg(long, value_name = "N", default_value_t = FEW_DRAWS, value_parser = clap::value_parser!(u16).range(..=MOST_DRAWS))]
    draws: u16,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

impl FewDraws {
    /// The number of draws and their seed.
    pub fn draws(&self) -> Draws {
        Draws { count: usize::from(self.draws), seed: self.seed }
    }
}

/// The amplitude of motion at which losses are taken.
#[derive(clap::Args)]
pub(super) struct AmplitudeOption {
    /// Amplitude, such as "1 um", at which losses stated over amplitude are taken
    #[arg(long, value_name = "LENGTH")]
    amplitude: Option<String>,
}

impl AmplitudeOption {
    /// The amplitude as it was given.
    pub fn text(&self) -> Option<&str> {
        self.amplitude.as_deref()
    }

    /// The design that `read` gives, with its losses taken at the amplitude if one is given.
    ///
    /// # Errors
    /// Text that is not a length above 0; the errors of `read`.
    pub fn apply(&self, read: impl FnOnce() -> Result<Design, Failure>) -> Result<Design, Failure> {
        let Some(text) = &self.amplitude else { return read() };
        let place = || Place::key("--amplitude");
        let amplitude = quantity::single(text, Kind::Length)
            .map_err(|fault| Problem::error(place(), fault.message).with_help(fault.help))?;
        if amplitude <= 0.0 {
            let message = format!("\"{text}\" is no amplitude above 0");
            return Err(Problem::error(place(), message).with_help("write it like \"1 um\"").into());
        }
        let mut design = read()?;
        design.take_losses_at(amplitude, place());
        Ok(design)
    }
}

impl MaterialsOption {
    /// The built-in table of materials with the user's table added, and warnings about that table.
    ///
    /// # Errors
    /// What is wrong with the user's table.
    pub fn table(&self) -> Result<(Table, Vec<Problem>), Failure> {
        let mut table = Table::built_in();
        let Some(path) = &self.materials else {
            return Ok((table, Vec::new()));
        };
        let text = files::read_text(path)?;
        let name = path.display().to_string();
        let problems = table.overlay(&name, &text);
        if problems.iter().any(Problem::is_error) {
            return Err(Failure { problems, text: Some((name, text)) });
        }
        Ok((table, problems))
    }
}

impl Input {
    /// The design, with only the build asked for if one is named. Prints the heading to `output` before the
    /// sections are meshed, which takes longest.
    ///
    /// # Errors
    /// Everything wrong with the design, its table, or the name of the build.
    pub fn read(&self, output: &Output) -> Result<Design, Failure> {
        self.read_after(&|stated| output.head_of_design(stated, self.build.as_deref()), &self.solved())
    }

    /// As [`Input::read`], for an answer that does not ask how bodies move: none is solved.
    ///
    /// # Errors
    /// Those of [`Input::read`], but of what shows only when a body is solved.
    pub fn read_unsolved(&self, output: &Output) -> Result<Design, Failure> {
        self.read_after(&|stated| output.head_of_design(stated, self.build.as_deref()), &SolvedBodies::None)
    }

    /// As [`Input::read`], without printing a heading.
    ///
    /// # Errors
    /// Those of [`Input::read`].
    pub fn read_quietly(&self) -> Result<Design, Failure> {
        self.read_after(&|_| Ok(()), &self.solved())
    }

    /// Whose bodies are solved: those of the build asked for, or of all.
    fn solved(&self) -> SolvedBodies<'_> {
        self.build.as_deref().map_or(SolvedBodies::All, SolvedBodies::Of)
    }

    fn read_after(&self, begin: &Begin, solved: &SolvedBodies) -> Result<Design, Failure> {
        let sources = (&self.known, &self.part_files);
        let design = read_design(&self.design, sources, self.solids, begin, solved)?;
        match &self.build {
            Some(wanted) => Ok(design.only(wanted)?),
            None => Ok(design),
        }
    }
}

impl Input {
    /// The files that are read.
    pub fn paths(&self) -> Paths<'_> {
        Paths::reading([self.design.as_path()])
            .and(self.known.materials.as_deref())
            .and_all(named_by(&self.design))
    }
}

/// Called with what a file states before the long work on it begins.
type Begin<'a> = dyn Fn(&Stated) -> Result<(), Failure> + 'a;

/// The design at `path` with all its builds, their members as bodies where that is asked for.
///
/// # Errors
/// Everything wrong with the design or its table of materials.
pub(super) fn read_design(
    path: &Path,
    (known, part_files): (&MaterialsOption, &PartFiles),
    solids: SolidsOptions,
    begin: &Begin,
    solved: &SolvedBodies,
) -> Result<Design, Failure> {
    let (table, doubts) = known.table()?;
    let text = files::read_design(path)?;
    let name = path.display().to_string();
    let mut stated = Stated::read(&name, &text);
    part_files.supply(&mut stated, path);
    begin(&stated)?;
    let reading = solids.take(stated).resolve_for(&table, solved);
    let Some(mut design) = reading.design else {
        return Err(Failure { problems: reading.problems, text: Some((name, text)) });
    };
    design.notes.splice(0..0, doubts);
    Ok(design)
}

/// The design as named in the JSON and in the workbook of an answer.
pub(super) fn identity(design: &Design) -> DesignIdentity {
    DesignIdentity { file: design.file.clone(), title: design.title.clone() }
}

/// The value of an `option` in SI, which must be more than zero; a ratio may be zero.
///
/// # Errors
/// What is wrong with the text, at the option.
pub(super) fn positive(text: &str, option: &str, kind: Kind) -> Result<f64, Failure> {
    let value = quantity::single(text, kind)
        .map_err(|fault| Problem::error(Place::key(option), fault.message).with_help(fault.help))?;
    if value > 0.0 || kind == Kind::Ratio && value == 0.0 {
        return Ok(value);
    }
    let problem = Problem::error(Place::key(option), format!("\"{text}\" must be more than zero"));
    Err(problem.with_help(format!("write it like \"{}\"", kind.example())).into())
}
