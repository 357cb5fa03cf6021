//! A tap test as blocks: the spectrum with its modes, the table, what was off in the model.

use super::super::block::{Axis, Block, Curve, Mark, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, Spread, figures, show};
use stillbed_tap::{
    AmplitudePoint, BarReading, DiscReading, Explanation, MatchedMode, MeasuredMode, ModelComparison,
    RejectedLine, TapReading, TrendVerdict,
};

const HZ: Unit = Unit::new("Hz", 1.0);

/// The answer of `tap` about a base.
#[derive(Debug, Clone, Serialize)]
pub struct TapAnswer {
    /// What was read from the records.
    #[serde(flatten)]
    pub reading: TapReading,
    /// The comparison with a build, if a design is given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against: Option<ModelComparison>,
}

/// Lines that are not modes are listed down to this level, dB.
const SHOWN_TO: f64 = -40.0;

fn columns() -> Vec<Column<MeasuredMode>> {
    vec![
        Column::spread("frequency", HZ, "frequency_hz", |m: &MeasuredMode| Some(m.frequency_hz)).digits(5),
        Column::spread("loss factor", Unit::NONE, "loss_factor", |m: &MeasuredMode| m.loss_factor),
        Column::number("at most", Unit::NONE, "loss_factor_at_most", |m: &MeasuredMode| {
            m.loss_factor_at_most
        }),
        Column::number("half power", Unit::NONE, "half_power.loss_factor", |m: &MeasuredMode| {
            m.half_power.loss_factor
        }),
        Column::text("with amplitude", "amplitude_trend.verdict", |m: &MeasuredMode| with_amplitude(m)),
        Column::number("level", Unit::new("dB", 1.0), "level_db", |m: &MeasuredMode| Some(m.level_db)),
    ]
}

/// How frequency and loss of a mode change with amplitude, in words.
fn with_amplitude(mode: &MeasuredMode) -> String {
    let trend = &mode.amplitude_trend;
    let word = |verdict| match verdict {
        TrendVerdict::Rises => Some("rises"),
        TrendVerdict::Falls => Some("falls"),
        TrendVerdict::None | TrendVerdict::Unresolved => None,
    };
    match (word(trend.verdict), word(trend.frequency_verdict)) {
        (Some(loss), Some(frequency)) if loss == frequency => format!("both {}", &loss[..loss.len() - 1]),
        (Some(loss), Some(frequency)) => format!("loss {loss}, frequency {frequency}"),
        (Some(loss), None) => format!("loss {loss}"),
        (None, Some(frequency)) => format!("frequency {frequency}"),
        (None, None) if trend.verdict == TrendVerdict::None => "none".to_string(),
        (None, None) => "unresolved".to_string(),
    }
}

/// One row per mode, in SI.
pub fn table(answer: &TapAnswer) -> Table {
    Table::new("tap", &columns(), &answer.reading.modes)
}

/// The records, the spectrum, the modes, and which change of the model explains the difference.
pub fn blocks(answer: &TapAnswer) -> Vec<Block> {
    let reading = &answer.reading;
    let used = reading.taps.iter().filter(|tap| tap.used).count();
    let mut blocks = vec![Block::Note(format!(
        "{}: {} at {} samples a second, {} found, {used} read.",
        reading.record,
        show(reading.duration_s, Kind::Time),
        figures(reading.sample_rate_hz, 5),
        match reading.taps.len() {
            1 => "1 tap".to_string(),
            n => format!("{n} taps"),
        }
    ))];
    blocks.push(Block::Curve(spectrum(reading)));
    blocks.push(Block::Table(Table::new("What rang, with its limits", &columns(), &reading.modes)));
    blocks.extend(over_amplitude(&reading.modes).into_iter().map(Block::Curve));
    let loud: Vec<RejectedLine> = reading.dropped.iter().filter(|d| d.level_db > SHOWN_TO).cloned().collect();
    if !loud.is_empty() {
        blocks.push(Block::Table(Table::new("Lines that are no modes", &dropped_columns(), &loud)));
    }
    if let Some(against) = &answer.against {
        blocks.extend(beside(against));
    }
    let notes = answer.against.iter().flat_map(|a| &a.notes);
    let notes: Vec<_> = reading.notes.iter().chain(notes).cloned().collect();
    if !notes.is_empty() {
        blocks.push(Block::Problems(notes));
    }
    blocks
}

fn spectrum(reading: &TapReading) -> Curve {
    let spectrum = &reading.spectrum;
    let highest = reading.modes.iter().map(|m| m.frequency_hz.value).fold(0.0, f64::max);
    let shown = |levels: &[f64]| -> Vec<[f64; 2]> {
        let points = spectrum.frequency_hz.iter().zip(levels).map(|(f, level)| [*f, *level]);
        points.filter(|[f, level]| *f > 0.0 && *f < 1.5 * highest && *level > -90.0).collect()
    };
    let mark = |(i, mode): (usize, &MeasuredMode)| Mark::X {
        at: mode.frequency_hz.value,
        label: format!("mode {}, {}", i + 1, show(mode.frequency_hz.value, Kind::Frequency)),
    };
    Curve {
        title: "Spectrum of the taps".to_string(),
        x: Axis::linear("frequency", HZ, "frequency_hz"),
        y: Axis::linear("level", Unit::new("dB", 1.0), "level_db"),
        series: vec![
            Series::line("taps", shown(&spectrum.level_db)),
            Series::line("background", shown(&spectrum.background_db)),
        ],
        marks: reading.modes.iter().enumerate().take(9).map(mark).collect(),
    }
}

/// Curves over amplitude: of the strongest modes that depend on it, else the lowest mode's loss factor.
fn over_amplitude(modes: &[MeasuredMode]) -> Vec<Curve> {
    let mut bent: Vec<&MeasuredMode> = modes.iter().filter(|mode| mode.amplitude_trend.bends).collect();
    bent.sort_by(|a, b| b.level_db.total_cmp(&a.level_db));
    bent.truncate(2);
    if bent.is_empty() {
        let first = modes.first().filter(|mode| mode.amplitude_trend.stretches.len() > 1);
        return first
            .map(|mode| curve(mode, "Loss factor", Unit::NONE, "loss_factor", |s| s.loss_factor))
            .into_iter()
            .collect();
    }
    let both = |mode: &MeasuredMode| {
        [
            curve(mode, "Loss factor", Unit::NONE, "loss_factor", |s| s.loss_factor),
            curve(mode, "Frequency", HZ, "frequency_hz", |s| s.frequency_hz),
        ]
    };
    bent.into_iter().flat_map(both).collect()
}

/// A value of one mode over the amplitude of its decay.
fn curve(mode: &MeasuredMode, what: &str, unit: Unit, key: &str, of: fn(&AmplitudePoint) -> Spread) -> Curve {
    let trend = &mode.amplitude_trend;
    let scale = mode.amplitude_m.unwrap_or(1.0);
    let points = |value: &dyn Fn(Spread) -> f64| -> Vec<[f64; 2]> {
        trend.stretches.iter().map(|s| [s.amplitude * scale, value(of(s))]).collect()
    };
    let middle = points(&|s| s.value);
    let series = match trend.bends {
        true => vec![
            Series::line("one mode that bends", middle),
            Series::line("at most", points(&|s| s.high)),
            Series::line("at least", points(&|s| s.low)),
        ],
        false => vec![Series::scatter("stretches of the decay", middle)],
    };
    Curve {
        title: format!("{what} at {} over amplitude", show(mode.frequency_hz.value, Kind::Frequency)),
        x: match mode.amplitude_m {
            Some(_) => Axis::log("amplitude", Unit::new("µm", 1e-6), "amplitude_m"),
            None => Axis::log("amplitude, of the strongest", Unit::NONE, "amplitude"),
        },
        y: Axis::linear(&what.to_lowercase(), unit, key),
        series,
        marks: Vec::new(),
    }
}

fn dropped_columns() -> Vec<Column<RejectedLine>> {
    vec![
        Column::number("frequency", HZ, "frequency_hz", |d: &RejectedLine| Some(d.frequency_hz)).digits(4),
        Column::number("level", Unit::new("dB", 1.0), "level_db", |d: &RejectedLine| Some(d.level_db))
            .digits(2),
        Column::text("why", "reason", |d: &RejectedLine| d.reason.clone()),
    ]
}

fn beside(against: &ModelComparison) -> Vec<Block> {
    let mut pairs = vec![
        Column::text("mode", "mode", |p: &MatchedMode| p.mode.clone()),
        Column::number("measured", HZ, "measured_hz", |p: &MatchedMode| Some(p.measured_hz)).digits(4),
        Column::number("predicted", HZ, "predicted_hz", |p: &MatchedMode| Some(p.predicted_hz)).digits(4),
        Column::number("frequency differs", Unit::PERCENT, "frequency_difference", |p: &MatchedMode| {
            Some(p.frequency_difference)
        }),
        Column::number("loss differs", Unit::PERCENT, "loss_difference", |p: &MatchedMode| p.loss_difference),
    ];
    if !against.seen.is_empty() {
        pairs.push(Column::number("shapes alike", Unit::PERCENT, "shape_likeness", |p: &MatchedMode| {
            p.shape_likeness
        }));
    }
    let explanations = [
        Column::text("one change", "parameter", |e: &Explanation| e.parameter.clone()),
        Column::spread("times", Unit::NONE, "factor", |e: &Explanation| Some(e.factor)),
        Column::number("explains", Unit::PERCENT, "explains", |e: &Explanation| Some(e.explains)),
        Column::text("within its spread", "within_spread", |e: &Explanation| {
            let within = if e.within_spread { "yes" } else { "no" };
            if e.spread_is_guess { format!("{within}, but a guess") } else { within.to_string() }
        }),
    ];
    let mut blocks = vec![Block::Table(Table::new("Beside the model", &pairs, &against.pairs))];
    if !against.seen.is_empty() {
        blocks.push(Block::Note(format!("Shapes were compared at {}.", against.seen.join(", "))));
    }
    for peak in &against.unknown_peaks_hz {
        blocks.push(Block::Note(format!("{} fits no mode of the model.", show(*peak, Kind::Frequency))));
    }
    if !against.silent_modes.is_empty() {
        blocks.push(Block::Note(format!("Not heard: {}.", against.silent_modes.join(", "))));
    }
    let best = &against.explanations[..against.explanations.len().min(6)];
    if !best.is_empty() {
        blocks.push(Block::Table(Table::new(
            "Single changes that explain the difference, best first",
            &explanations,
            best,
        )));
        let means = |e: &Explanation| e.means.as_ref().map(|means| format!("{}: {means}.", e.parameter));
        let means: Vec<String> = best.iter().filter_map(means).collect();
        if !means.is_empty() {
            blocks.push(Block::Note(means.join(" ")));
        }
    }
    blocks
}

/// The moduli of the bar as one row, in SI.
pub fn bar_table(answer: &BarReading) -> Table {
    let none = Unit::NONE;
    let columns = [
        Column::spread("Young's modulus", none, "youngs_modulus_pa", |b: &BarReading| b.youngs_modulus_pa),
        Column::spread("shear modulus", none, "shear_modulus_pa", |b: &BarReading| b.shear_modulus_pa),
        Column::spread("Poisson's ratio", none, "poissons_ratio", |b: &BarReading| b.poissons_ratio),
        Column::spread("loss factor", none, "loss_factor", |b: &BarReading| b.loss_factor),
        Column::spread("density", none, "density_kg_per_m3", |b: &BarReading| Some(b.density_kg_per_m3)),
    ];
    Table::new("bar", &columns, std::slice::from_ref(answer))
}

/// The bar's moduli, how to support it, and the lines to put into a design.
pub fn bar_blocks(answer: &BarReading) -> Vec<Block> {
    let properties = [
        answer.youngs_modulus_pa,
        answer.shear_modulus_pa,
        answer.poissons_ratio,
        answer.loss_factor,
        Some(answer.density_kg_per_m3),
    ];
    let advice = answer.holding.iter().map(|holding| holding.advice.clone());
    specimen_blocks(properties, advice, &answer.materials, &answer.notes)
}

/// The properties of the disc's material as one row, in SI.
pub fn disc_table(answer: &DiscReading) -> Table {
    let none = Unit::NONE;
    let columns = [
        Column::spread("Young's modulus", none, "youngs_modulus_pa", |d: &DiscReading| {
            Some(d.youngs_modulus_pa)
        }),
        Column::spread("shear modulus", none, "shear_modulus_pa", |d: &DiscReading| Some(d.shear_modulus_pa)),
        Column::spread("Poisson's ratio", none, "poissons_ratio", |d: &DiscReading| Some(d.poissons_ratio)),
        Column::spread("loss factor", none, "loss_factor", |d: &DiscReading| d.loss_factor),
        Column::spread("density", none, "density_kg_per_m3", |d: &DiscReading| Some(d.density_kg_per_m3)),
    ];
    Table::new("disc", &columns, std::slice::from_ref(answer))
}

/// The properties of the disc's material, how to support it, and the lines to put into a design.
pub fn disc_blocks(answer: &DiscReading) -> Vec<Block> {
    let properties = [
        Some(answer.youngs_modulus_pa),
        Some(answer.shear_modulus_pa),
        Some(answer.poissons_ratio),
        answer.loss_factor,
        Some(answer.density_kg_per_m3),
    ];
    specimen_blocks(properties, answer.holding.iter().cloned(), &answer.materials, &answer.notes)
}

/// Young's modulus, shear modulus, Poisson's ratio, loss factor and density of a specimen, how to hold it, and the
/// lines for a design.
fn specimen_blocks(
    properties: [Option<Spread>; 5],
    advice: impl Iterator<Item = String>,
    materials: &str,
    notes: &[Problem],
) -> Vec<Block> {
    let names = [
        ("Young's modulus", Kind::Stress),
        ("shear modulus", Kind::Stress),
        ("Poisson's ratio", Kind::Ratio),
        ("loss factor", Kind::Ratio),
        ("density", Kind::Density),
    ];
    let said = |((name, kind), value): ((&str, Kind), Option<Spread>)| {
        value.map(|s| {
            format!("{name} {} ({} to {})", show(s.value, kind), show(s.low, kind), show(s.high, kind))
        })
    };
    let summary: Vec<String> = names.into_iter().zip(properties).filter_map(said).collect();
    let mut blocks = vec![Block::Note(format!("{}.", summary.join("; ")))];
    blocks.extend(advice.map(Block::Note));
    blocks.push(Block::Heading("For a design".to_string()));
    blocks.extend(materials.lines().map(|line| Block::Note(line.to_string())));
    if !notes.is_empty() {
        blocks.push(Block::Problems(notes.to_vec()));
    }
    blocks
}
