//! `mix`: the properties that follow from each casting recipe of a design.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{files, input, output};
use std::path::PathBuf;
use stillbed_input::quantity::Kind;
use stillbed_report::presentation::mix as presentation;
use stillbed_study::pour::CupCurve;
use stillbed_study::pour::bodies::{compute_mixes, compute_trial};

/// Show what each recipe makes: modulus, loss, binder demand, air
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed mix examples/gantry-mill.toml --least-binder")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// Mix the given grains for the least binder that still fills, and draw the demand
    #[arg(long)]
    least_binder: bool,
    /// A logged cup of your own binder, a thermometer in its middle: columns time_min, temperature_degC
    #[arg(long, value_name = "FILE.csv", requires = "cup_mass")]
    trials: Option<PathBuf>,
    /// What that cup holds, such as "150 g"
    #[arg(long, value_name = "MASS", requires = "trials")]
    cup_mass: Option<String>,
    /// The binder in it, where the mixes have several
    #[arg(long, value_name = "NAME", requires = "trials")]
    binder: Option<String>,
    #[command(flatten)]
    output: output::Output,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().and(self.trials.as_deref()).writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let mass = arguments.cup_mass.as_deref();
    let mass = mass.map(|text| input::positive(text, "--cup-mass", Kind::Mass)).transpose()?;
    let curve = arguments.trials.as_deref().map(|path| -> Result<CupCurve, Failure> {
        let text = files::read_text(path)?;
        let name = path.display().to_string();
        CupCurve::read(&name, &text)
            .map_err(|problems| Failure { problems: problems.into(), text: Some((name, text)) })
    });
    let curve = curve.transpose()?;
    let design = arguments.input.read_unsolved(&arguments.output)?;
    let trial = curve.as_ref().zip(mass).map(|(curve, mass)| {
        compute_trial(&design, arguments.binder.as_deref(), mass, curve).map_err(Failure::without_text)
    });
    let found = presentation::Mixes {
        mixes: compute_mixes(&design).map_err(Failure::without_text)?,
        trial: trial.transpose()?,
        notes: design.notes.clone(),
    };
    let answer = output::Answer {
        name: "mix",
        design: Some(input::identity(&design)),
        result: &found,
        blocks: &|found| presentation::blocks(found, arguments.least_binder),
        table: &presentation::table,
    };
    arguments.output.write(&answer)
}
