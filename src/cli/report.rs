//! `report`: everything about a design as one page that can be sent and printed.

use super::{Ending, Failure, input, output};
use crate::design::Design;
use crate::problem::Problem;
use crate::report::page;
use crate::report::present::mix::Mixes;
use crate::report::present::whole::{Whole, page as document};
use crate::study::compare::{Comparison, Options};
use crate::study::modes::Modes;
use crate::study::motion::{ResponseOptions, response};
use crate::study::pour::bodies::{PourOptions, mixes, pours};
use crate::study::proof::prove;
use crate::study::ringdown::{RingDownOptions, ring_down};
use crate::study::sections::Sections;
use crate::study::shapes::shapes;
use crate::study::spread::Draws;
use crate::study::warm::{WarmOptions, warm};

/// Write everything about a design as one self-contained page
#[derive(clap::Args)]
#[command(after_help = "Example: stillbed report examples/roundness-stand.toml --output stand.html")]
pub(super) struct Arguments {
    #[command(flatten)]
    input: input::Input,
    #[command(flatten)]
    spread: input::SpreadOptions,
    #[command(flatten)]
    at: input::AtAmplitude,
    /// Write the page to this file instead of standard output
    #[arg(long, short, value_name = "FILE.html")]
    output: Option<std::path::PathBuf>,
}

/// Modes of each build on the page.
const COUNT: usize = 10;

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let mut design = arguments.input.read()?;
    arguments.at.take(&mut design)?;
    let whole = whole(&design, arguments).map_err(Failure::of)?;
    let all_miss = whole.comparison.misses.all_miss();
    let facts = vec![
        ("design".to_string(), design.file.clone()),
        ("program".to_string(), format!("stillbed {}", env!("CARGO_PKG_VERSION"))),
        ("rerun".to_string(), format!("stillbed report {}", design.file)),
        ("draws".to_string(), format!("{} with seed {}", whole.comparison.draws, arguments.spread.seed)),
    ];
    let html = page::render(&document(&design, &whole, facts));
    let output = output::Output { format: output::Format::Text, output: arguments.output.clone() };
    output.put(html.as_bytes(), &arguments.input.files())?;
    Ok(Ending::judged(all_miss))
}

fn whole(design: &Design, arguments: &Arguments) -> Result<Whole, Vec<Problem>> {
    let options =
        Options { draws: arguments.spread.draws, seed: arguments.spread.seed, ..Options::default() };
    let bar = output::Progress::new("draws");
    let comparison = Comparison::of(design, &options, |done, of| bar.at(done, of))?;
    bar.finish();
    let goal = &design.goal;
    let draws = Draws { count: arguments.spread.draws.min(input::FEW), seed: arguments.spread.seed };
    let tapped = RingDownOptions { count: COUNT, duration: None, draws };
    let asked = ResponseOptions { count: 2 * COUNT, range: None, path: None, floor: None };
    let pour = PourOptions { waste: None, bucket: None, temperature: None, ribs: (0.2, 0.5e-3), body: None };
    // A change of one kelvin where the design states none; materials without expansion leave it out.
    let change = goal.thermal.is_none().then_some(1.0);
    let recipes = mixes(design).ok();
    Ok(Whole {
        comparison,
        sections: Sections::of(design)?,
        modes: Modes::of(design, COUNT, &draws, |_, _| ())?,
        shapes: design.builds.iter().map(|build| shapes(design, build, 6)).collect::<Result<_, _>>()?,
        response: goal.tool.is_some().then(|| response(design, &asked)).transpose()?,
        ring_down: goal.tap.is_some().then(|| ring_down(design, &tapped, |_, _| ())).transpose()?,
        warm: warm(design, &WarmOptions { change, ..WarmOptions::default() }).ok(),
        pours: recipes.is_some().then(|| pours(design, &pour)).transpose()?,
        mixes: recipes.map(|mixes| Mixes { mixes, notes: Vec::new() }),
        proof: prove().map_err(|message| vec![Problem::error(Default::default(), message)])?,
    })
}
