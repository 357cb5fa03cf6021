//! Mixes as blocks: their properties, whether the binder fills the voids, their sieve curves.

use super::super::block::{Axis, Block, Curve, Mark, Series};
use super::super::table::{Column, Table};
use super::super::unit::Unit;
use serde::Serialize;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, Spread, figures, show};
use stillbed_material::{IngredientShare, MixAnswer};
use stillbed_study::pour::CupTrial;

/// The mixes of a design.
#[derive(Debug, Clone, Serialize)]
pub struct Mixes {
    /// Each mix once.
    pub mixes: Vec<MixAnswer>,
    /// A cup of its binder read back, where one was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trial: Option<CupTrial>,
    /// The warnings about the design.
    pub notes: Vec<Problem>,
}

fn columns() -> Vec<Column<MixAnswer>> {
    let none = Unit::NONE;
    let number = |title: &str, unit: Unit, key: &str, read: fn(&MixAnswer) -> Option<f64>| {
        Column::number(title, unit, key, read)
    };
    vec![
        Column::text("mix", "name", |m: &MixAnswer| m.name.clone()),
        number("density", Unit::new("kg/m³", 1.0), "density_kg_per_m3", |m| Some(m.density_kg_per_m3))
            .digits(4),
        Column::spread("Young's modulus", Unit::new("GPa", 1e9), "youngs_modulus_pa", |m: &MixAnswer| {
            Some(Spread::between(
                m.youngs_modulus_pa.value,
                m.youngs_modulus_pa.low,
                m.youngs_modulus_pa.high,
            ))
        }),
        number("Poisson's ratio", none, "poissons_ratio", |m| Some(m.poissons_ratio)),
        number("loss factor", none, "loss_factor", |m| Some(m.loss_factor)),
        number("expansion", Unit::new("µm/(m K)", 1e-6), "expansion_per_k.value", |m| {
            m.expansion_per_k.map(|e| e.value)
        }),
        number("conductivity", Unit::new("W/(m K)", 1.0), "conductivity_w_per_m_k", |m| {
            m.conductivity_w_per_m_k
        }),
        number("heat capacity", Unit::new("J/(kg K)", 1.0), "heat_capacity_j_per_kg_k", |m| {
            m.heat_capacity_j_per_kg_k
        }),
        number("tensile strength", Unit::new("MPa", 1e6), "strength.value_pa", |m| {
            m.strength.as_ref().map(|s| s.value_pa)
        }),
        number("binder by volume", Unit::PERCENT, "binder_volume_share", |m| Some(m.binder_volume_share)),
        number("binder that just fills", Unit::PERCENT, "binder_demand", |m| Some(m.binder_demand)),
        Column::spread("air", Unit::PERCENT, "air_range", |m: &MixAnswer| {
            Some(Spread::between(m.air_range.value, m.air_range.low, m.air_range.high))
        }),
    ]
}

/// One row per mix, in SI.
pub fn table(answer: &Mixes) -> Table {
    Table::new("mix", &columns(), &answer.mixes)
}

/// Each mix with its properties, filling and curves; with `least_binder`, the least binder of its grains too.
pub fn blocks(answer: &Mixes, least_binder: bool) -> Vec<Block> {
    let mut blocks = answer.trial.as_ref().map(trial).unwrap_or_default();
    blocks.push(Block::Table(
        Table::new("Mixes, with Hashin-Shtrikman bounds of the modulus", &columns(), &answer.mixes)
            .side_by_side(),
    ));
    for mix in &answer.mixes {
        blocks.push(Block::Heading(mix.name.clone()));
        blocks.push(Block::Note(summary(mix)));
        blocks.push(Block::Table(Table::new("Shares", &share_columns(), &mix.ingredients)));
        blocks.extend(demand_curve(mix).filter(|_| least_binder).map(Block::Curve));
        blocks.extend(grading(mix).map(Block::Curve));
        if let Some(least) = mix.least_binder.as_ref().filter(|_| least_binder) {
            let grains: Vec<String> = mix
                .ingredients
                .iter()
                .skip(1)
                .zip(&least.grains_by_weight)
                .map(|(grain, share)| format!("{} {} %", grain.of, figures(100.0 * share, 3)))
                .collect();
            blocks.push(Block::Note(format!(
                "Least binder that fills with {} % over the voids: {} % by weight, with grains by weight {}.",
                figures(100.0 * least.excess, 2),
                figures(100.0 * least.binder_share_by_weight, 3),
                grains.join(", ")
            )));
        }
        if !mix.measured.is_empty() {
            let said: Vec<String> = mix
                .measured
                .iter()
                .map(|b| {
                    let (measured, predicted) = (show(b.measured, b.kind), show(b.predicted, b.kind));
                    let named = match b.kind {
                        Kind::Density => "density",
                        Kind::Stress => "Young's modulus",
                        _ => "loss factor",
                    };
                    format!("{named} {measured} where the recipe predicts {predicted}")
                })
                .collect();
            blocks.push(Block::Note(format!("Measured: {}.", said.join("; "))));
        }
        if !mix.notes.is_empty() {
            blocks.push(Block::Problems(mix.notes.clone()));
        }
    }
    if !answer.notes.is_empty() {
        blocks.push(Block::Problems(answer.notes.clone()));
    }
    blocks
}

/// A cup of binder read back: what it says, how the fit follows it, and what to write into the design.
fn trial(trial: &CupTrial) -> Vec<Block> {
    let degrees = |kelvin: f64| figures(kelvin - 273.15, 3);
    let spreads = [
        (trial.heat_of_reaction_j_per_kg, 1e-3, "J/g"),
        (trial.rate_constant_per_s, 1.0, "1/s"),
        (trial.loss_w_per_m2_k, 1.0, "W/m2 K"),
    ];
    let number = |x: f64| if x < 1e5 { figures(x, 3) } else { format!("{x:.2e}") };
    let parts = spreads.map(|(spread, factor, unit)| {
        ([spread.value, spread.low, spread.high].map(|x| number(factor * x)), unit)
    });
    let limits =
        parts.each_ref().map(|([value, low, high], unit)| format!("{value} {unit} ({low} to {high})"));
    let [heat, rate, loss] = &limits;
    let read = format!(
        "{} of {} begun at {} °C: at {} °C after {}. Read from the curve: a heat of reaction of {heat}, a rate \
         constant of {rate}, and a cup that passes {loss}; 95 % limits. The fit misses the curve by {} K.",
        show(trial.mass_kg, Kind::Mass),
        trial.of,
        degrees(trial.start_k),
        degrees(trial.peak_k),
        show(trial.peak_time_s, Kind::Time),
        figures(trial.misfit_k, 2)
    );
    let stated = parts.map(|([value, low, high], unit)| {
        format!("{{ value = \"{value} {unit}\", low = \"{low} {unit}\", high = \"{high} {unit}\" }}")
    });
    let write = format!(
        "For the design, under [materials.\"{}\"]: heat_of_reaction = {} and rate_constant = {}.",
        trial.of, stated[0], stated[1]
    );
    let line = |name: &str, kelvin: &[f64]| {
        let points = trial.time_s.iter().zip(kelvin).map(|(time, k)| [*time, k - 273.15]);
        Series::line(name, points.collect())
    };
    vec![
        Block::Heading(format!("Cup of {}", trial.of)),
        Block::Note(read),
        Block::Curve(Curve {
            title: "Middle of the cup".to_string(),
            x: Axis::linear("time from mixing", Unit::new("min", 60.0), "time_s"),
            y: Axis::linear("temperature", Unit::new("°C", 1.0), "temperature_c"),
            series: vec![line("read", &trial.read_k), line("fitted", &trial.fitted_k)],
            marks: Vec::new(),
        }),
        Block::Note(write),
    ]
}

fn summary(mix: &MixAnswer) -> String {
    let demand = &mix.demand;
    let percent = |x: f64| format!("{} %", figures(100.0 * x, 3));
    let mut summary = format!(
        "The grains as compacted leave {} voids; {} by weight of binder just fills them. ",
        percent(demand.voids),
        percent(demand.share_by_weight)
    );
    summary.push_str(&match demand.excess {
        x if x < -0.005 => format!("The recipe falls {} of the voids short, which becomes air.", percent(-x)),
        x if x < 0.02 => "The recipe just fills them.".to_string(),
        x => format!("The recipe has {} over, by which it flows.", percent(x)),
    });
    if mix.air > 0.0 {
        summary.push_str(&match mix.air - demand.air {
            _ if demand.air < 5e-4 => format!(" {} of it are bubbles.", percent(mix.air)),
            bubbles => format!(
                " {} of air stand between the grains, {} are bubbles.",
                percent(demand.air),
                percent(bubbles.max(0.0))
            ),
        });
    }
    if let Some(error) = mix.model_error {
        summary.push_str(&format!(
            " A bar of it may have {} to {} of the predicted modulus, as bars of other mixes have: cast one and \
             state it.",
            percent(error.low),
            percent(error.high)
        ));
    }
    let schemes = &mix.schemes;
    let parallel = show(schemes.voigt_pa, Kind::Stress);
    summary.push_str(&match schemes.reuss_pa > 0.0 {
        true => format!(
            " Young's modulus between the extremes of parallel and series: {parallel} and {}.",
            show(schemes.reuss_pa, Kind::Stress)
        ),
        false => format!(" All of it in parallel would have a Young's modulus of {parallel}."),
    });
    summary
}

fn share_columns() -> Vec<Column<IngredientShare>> {
    vec![
        Column::text("of", "of", |s: &IngredientShare| s.of.clone()),
        Column::number("parts", Unit::NONE, "parts", |s: &IngredientShare| s.parts),
        Column::number("by weight", Unit::PERCENT, "by_weight", |s: &IngredientShare| Some(s.by_weight)),
        Column::number("by volume", Unit::PERCENT, "by_volume", |s: &IngredientShare| Some(s.by_volume)),
    ]
}

/// Binder demand over the share of coarse grains; `None` for a single kind of grain.
fn demand_curve(mix: &MixAnswer) -> Option<Curve> {
    let points = mix.demand_curve.iter().map(|p| [p.coarse_share, p.binder_share_by_weight]).collect();
    (!mix.demand_curve.is_empty()).then(|| Curve {
        title: "Binder that just fills, against the share of the coarsest grains".to_string(),
        x: Axis::linear("coarse among the grains", Unit::PERCENT, "coarse_share"),
        y: Axis::linear("binder by weight", Unit::PERCENT, "binder_share_by_weight"),
        series: vec![Series::line("binder demand", points)],
        marks: vec![Mark::Y {
            at: mix.ingredients.first().map_or(0.0, |b| b.by_weight),
            label: "recipe".to_string(),
        }],
    })
}

/// The sieve curve with the Fuller curve; `None` if no grain sizes are stated.
fn grading(mix: &MixAnswer) -> Option<Curve> {
    let line = |name: &str, read: fn(&stillbed_material::grading::Sieve) -> f64| {
        Series::line(name, mix.grading.iter().map(|s| [s.opening_m, read(s)]).collect())
    };
    (mix.grading.len() > 1).then(|| Curve {
        title: "Grading".to_string(),
        x: Axis::log("sieve opening", Unit::new("mm", 1e-3), "opening_m"),
        y: Axis::linear("passing", Unit::PERCENT, "passing"),
        series: vec![line("grains", |s| s.passing), line("Fuller-Thompson", |s| s.fuller)],
        marks: Vec::new(),
    })
}
