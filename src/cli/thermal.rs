//! `thermal`: expansion, bow, stress and sag of each build, and where to support it.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::{input, output};
use stillbed_input::problem::{Place, Problem};
use stillbed_report::presentation::thermal as presentation;
use stillbed_response::deformation::SupportAim;
use stillbed_response::thermal::spec::ThermalSpec;
use stillbed_study::thermal::{Carry, ThermalAnswer, ThermalOptions};

/// Show how each build grows, bows and sags: drift, straightness, stress, carrying points
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed thermal examples/roundness-stand.toml --change \"2 K\"")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    /// Uniform change, such as "10 K"; beside what [thermal] of the design states
    #[arg(long, value_name = "CHANGE", allow_hyphen_values = true)]
    change: Option<String>,
    /// Exchange of heat with the air, such as "8 W/m2 K"
    #[arg(long, value_name = "FILM")]
    film: Option<String>,
    /// Find the best places to carry it under these members, one after another
    #[arg(long, value_name = "MEMBER", num_args = 1.., value_delimiter = ',')]
    carry: Vec<String>,
    /// How many supports carry it
    #[arg(long, value_name = "2|3", default_value_t = 2, value_parser = clap::value_parser!(u8).range(2..=3), requires = "carry")]
    on: u8,
    /// What the places are best for
    #[arg(long, value_enum, value_name = "sag|slope|level-ends|length", default_value_t = For::Sag, hide_possible_values = true, requires = "carry")]
    aim: For,
    #[command(flatten)]
    output: output::Output,
}

/// What places of supports are best for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum For {
    Sag,
    Slope,
    LevelEnds,
    Length,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        self.input.paths().writing("--output", self.output.output.as_deref())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let change =
        match &arguments.change {
            Some(text) => Some(ThermalSpec::change_of(text).map_err(|fault| {
                Problem::error(Place::key("--change"), fault.message).with_help(fault.help)
            })?),
            None => None,
        };
    let film = match &arguments.film {
        Some(text) => Some(
            ThermalSpec::film_of(text)
                .map_err(|fault| Problem::error(Place::key("--film"), fault.message).with_help(fault.help))?,
        ),
        None => None,
    };
    let design = arguments.input.read(&arguments.output)?;
    let aim = match arguments.aim {
        For::Sag => SupportAim::Sag,
        For::Slope => SupportAim::Slope,
        For::LevelEnds => SupportAim::LevelEnds,
        For::Length => SupportAim::Length,
    };
    let carry = Carry { along: arguments.carry.clone(), supports: usize::from(arguments.on), aim };
    let carry = (!carry.along.is_empty()).then_some(carry);
    let found = ThermalAnswer::compute(&design, &ThermalOptions { change, film, carry })
        .map_err(Failure::without_text)?;
    let answer = output::Answer {
        name: "thermal",
        design: Some(input::identity(&design)),
        result: &found,
        blocks: &presentation::blocks,
        table: &presentation::table,
    };
    arguments.output.write(&answer)
}
