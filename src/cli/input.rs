//! What every command that answers about a design takes in.

use super::Failure;
use super::files;
use super::output::Output;
use super::paths::Paths;
use crate::design::{Design, Stated};
use crate::material::Table;
use crate::problem::{Place, Problem};
use crate::quantity::{self, Kind};
use crate::report::book::Imprint;
use crate::report::json;
use crate::study::spread::Draws;
use std::path::{Path, PathBuf};

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
    pub known: Known,
}

/// Materials known beside the built-in ones.
#[derive(clap::Args)]
pub(super) struct Known {
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
    /// How many draws, and of which seed.
    pub fn draws(&self) -> Draws {
        Draws { count: usize::from(self.draws), seed: self.seed }
    }
}

/// Draws where the limits of a few figures are asked for beside much else.
pub(super) const FEW: u16 = 60;

/// Draws that an answer takes at most: their limits of 5 % and 95 % are then known to a few thousandths.
const MOST_DRAWS: i64 = 20_000;

/// How the spreads of a design are carried through where few draws will do.
#[derive(clap::Args)]
pub(super) struct FewDraws {
    /// Draws of the uncertain values, at most 20 000; 0 leaves the spreads out
    #[arg(long, value_name = "N", default_value_t = FEW, value_parser = clap::value_parser!(u16).range(..=MOST_DRAWS))]
    draws: u16,
    /// Seed of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
}

impl FewDraws {
    /// How many draws, and of which seed.
    pub fn draws(&self) -> Draws {
        Draws { count: usize::from(self.draws), seed: self.seed }
    }
}

/// The amplitude of motion at which losses are taken.
#[derive(clap::Args)]
pub(super) struct AtAmplitude {
    /// Amplitude at which losses stated over amplitude are taken, such as "1 um"
    #[arg(long, value_name = "LENGTH")]
    amplitude: Option<String>,
}

impl AtAmplitude {
    /// The design that `read` gives, its losses taken at the amplitude if one is asked for.
    ///
    /// # Errors
    /// Text that is no length above 0; those of `read`.
    pub fn of(&self, read: impl FnOnce() -> Result<Design, Failure>) -> Result<Design, Failure> {
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

impl Known {
    /// The built-in table with the user's own, and the doubts about that.
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
    /// The design with only the asked build, if one is asked for; `output` is told what it is
    /// about before its sections are meshed.
    ///
    /// # Errors
    /// Everything wrong with the design, its table, or the name of the build.
    pub fn read(&self, output: &Output) -> Result<Design, Failure> {
        self.read_telling(&|stated| output.head_of(stated, self.build.as_deref()))
    }

    /// The same for what has no heading of its own.
    ///
    /// # Errors
    /// Those of [`Input::read`].
    pub fn read_quietly(&self) -> Result<Design, Failure> {
        self.read_telling(&|_| Ok(()))
    }

    fn read_telling(&self, tell: &Tell) -> Result<Design, Failure> {
        let design = read_design(&self.design, &self.known, tell)?;
        match &self.build {
            Some(wanted) => Ok(design.only(wanted)?),
            None => Ok(design),
        }
    }
}

impl Input {
    /// The files that are read.
    pub fn paths(&self) -> Paths<'_> {
        Paths::reading([self.design.as_path()]).and(self.known.materials.as_deref())
    }
}

/// Is told what a file states before the work on it begins.
type Tell<'a> = dyn Fn(&Stated) -> Result<(), Failure> + 'a;

/// The design at `path` with all its builds.
///
/// # Errors
/// Everything wrong with the design or its table of materials.
pub(super) fn read_design(path: &Path, known: &Known, tell: &Tell) -> Result<Design, Failure> {
    let (table, doubts) = known.table()?;
    let text = files::read_text(path)?;
    let name = path.display().to_string();
    let stated = Stated::read(&name, &text);
    tell(&stated)?;
    let reading = stated.resolve(&table);
    let Some(mut design) = reading.design else {
        return Err(Failure { problems: reading.problems, text: Some((name, text)) });
    };
    design.notes.splice(0..0, doubts);
    Ok(design)
}

/// What an answer's envelope says of the design.
pub(super) fn of(design: &Design) -> json::Design {
    json::Design { file: design.file.clone(), title: design.title.clone() }
}

/// What a workbook says of the design.
pub(super) fn imprint(design: &Design) -> Imprint<'_> {
    Imprint { file: &design.file, title: &design.title }
}
