//! The pour as a workbook: a leaf a mix on which amounts follow from what a person changes, the
//! checklist, the cautions.
//!
//! ```text
//! mass to mix = volume density (1 + waste)
//! an ingredient = mass to mix * share / sum of shares
//! resin = binder / (1 + h), hardener = binder h / (1 + h)      h hardener to one of resin
//! batches = mass to mix / min(bucket density, rate (working time - mixing time)), rounded up
//! packs = needed / pack, rounded up
//! ```

use super::leaf::{Given, Leaf, Look, MONEY, NO_PRICE, cell, decimals};
use super::{Imprint, bound, notes};
use crate::quantity::{Kind, show};
use crate::study::pour::bodies::{BuildPour, Pours};
use crate::study::pour::{Batches, PourSheet};
use rust_xlsxwriter::XlsxError;

/// How masses are shown.
const KG: &str = "0.000";
/// A pack or a batch a hair over is not worth another, as in the program.
const HAIR: &str = "0.000000001";

/// The workbook of `answer`.
///
/// # Errors
/// What the format cannot hold.
pub fn book(answer: &Pours, imprint: &Imprint) -> Result<Vec<u8>, XlsxError> {
    let mut leaves = Vec::new();
    let sheets =
        || answer.builds.iter().flat_map(|build| build.sheets.iter().map(move |sheet| (build, sheet)));
    for (number, (build, sheet)) in (1..).zip(sheets()) {
        leaves.push(amounts(number, build, sheet)?);
    }
    leaves.push(checklist(sheets())?);
    leaves.push(cautions(sheets())?);
    let problems: Vec<_> =
        sheets().flat_map(|(_, sheet)| &sheet.notes).chain(&answer.notes).cloned().collect();
    let told = "Lifts, heat, mould and checklist are those of the amounts as computed; they do not follow \
                changes made here: run the program anew for those.";
    leaves.push(notes(imprint, &[told.to_string()], &problems)?);
    bound(leaves, imprint)
}

/// Rows of what is stated, by the cell that holds each.
struct Stated {
    volume: String,
    density: String,
    waste: String,
    bucket: String,
    mixing: String,
    rate: String,
    working: Option<String>,
    hardener: Option<String>,
    price: String,
}

fn amounts(number: usize, build: &BuildPour, sheet: &PourSheet) -> Result<Leaf, XlsxError> {
    let name = format!("{number} {} {}", build.name, sheet.mix);
    let mut leaf = Leaf::new(&name, &[40.0, 14.0, 14.0, 14.0, 14.0, 14.0, 14.0])?;
    leaf.line(&format!("{}: {}", build.label, sheet.mix), Look::Title)?;
    leaf.freeze()?;
    let stated = stated(&mut leaf, sheet)?;
    leaf.next();
    let (mixed, count) = totals(&mut leaf, sheet, &stated)?;
    leaf.next();
    let weights = weights(&mut leaf, sheet, &stated, &mixed, count.as_deref())?;
    leaf.next();
    shopping(&mut leaf, sheet, weights)?;
    leaf.next();
    beside(&mut leaf, sheet)?;
    Ok(leaf)
}

/// What a person may change.
fn stated(leaf: &mut Leaf, sheet: &PourSheet) -> Result<Stated, XlsxError> {
    leaf.heads(&["what amounts follow from", "stated", "unit"])?;
    let mut row = |what: &str, value: Option<f64>, unit: &str, shown: &str| {
        leaf.text(0, what, Look::Plain)?;
        leaf.input(1, value, shown)?;
        leaf.text(2, unit, Look::Plain)?;
        let cell = cell(1, leaf.row());
        leaf.next();
        Ok::<String, XlsxError>(cell)
    };
    let basis = &sheet.basis;
    Ok(Stated {
        volume: row("volume to fill", Some(1e3 * sheet.volume_m3), "l", KG)?,
        density: row("density of the cast mix", Some(sheet.density_kg_per_m3), "kg/m³", "0")?,
        waste: row("lost on tools and in joints", Some(basis.waste), "of the mass", "0.0 %")?,
        bucket: row("the bucket takes", Some(1e3 * basis.bucket_m3), "l", "0.0")?,
        mixing: row("to mix a batch", Some(basis.mixing_time_s / 60.0), "min", "0.0")?,
        rate: row("placed and vibrated", Some(60.0 * basis.placing_rate_kg_per_s), "kg/min", "0.00")?,
        working: match sheet.working_time_s {
            Some(time) => Some(row("the binder can be worked for", Some(time / 60.0), "min", "0.0")?),
            None => None,
        },
        hardener: match basis.hardener_to_resin {
            Some(ratio) => Some(row("hardener to 100 of resin", Some(100.0 * ratio), "by weight", "0.0")?),
            None => None,
        },
        price: row("price of the mix", sheet.price_per_kg, "per kg", MONEY)?,
    })
}

/// What follows for the whole; the cells of the mass to mix and of the number of batches.
fn totals(
    leaf: &mut Leaf,
    sheet: &PourSheet,
    stated: &Stated,
) -> Result<(String, Option<String>), XlsxError> {
    let Stated { volume, density, waste, bucket, mixing, rate, price, .. } = stated;
    leaf.heads(&["what follows", "computed", "unit"])?;
    let mut row = |what: &str, formula: &str, given: Given, unit: &str, shown: &str| {
        leaf.text(0, what, Look::Plain)?;
        leaf.formula(1, formula, &given, shown, Look::Plain)?;
        leaf.text(2, unit, Look::Plain)?;
        let cell = cell(1, leaf.row());
        leaf.next();
        Ok::<String, XlsxError>(cell)
    };
    let cast =
        row("cast", &format!("={volume}*{density}/1000"), Given::Number(sheet.cast_mass_kg), "kg", KG)?;
    let mixed = row("to mix", &format!("={cast}*(1+{waste})"), Given::Number(sheet.mixed_mass_kg), "kg", KG)?;
    let cost = format!("=IF(COUNT({price})<1,\"{NO_PRICE}\",{mixed}*{price})");
    let given = sheet.price_per_kg.map(|price| sheet.mixed_mass_kg * price);
    row(
        "cost of the mix at its price",
        &cost,
        given.map_or(Given::Text(NO_PRICE), Given::Number),
        "",
        MONEY,
    )?;
    let Some(batches) = &sheet.batches else {
        leaf.line(
            "No batch: mixing alone outlasts the time in which the binder can be worked.",
            Look::Plain,
        )?;
        return Ok((mixed, None));
    };
    let by_bucket = format!("{bucket}*{density}/1000");
    let largest = match &stated.working {
        Some(working) => format!("=MIN({by_bucket},{rate}*({working}-{mixing}))"),
        None => format!("={by_bucket}"),
    };
    let largest = row("largest batch", &largest, Given::Number(largest_batch(sheet)), "kg", KG)?;
    let count =
        format!("=IF({largest}>0,MAX(1,ROUNDUP({mixed}/{largest}-{HAIR},0)),\"mixing outlasts the binder\")");
    let count = row("batches", &count, Given::Number(batches.count as f64), "", "0")?;
    let one = row("one batch", &format!("={mixed}/{count}"), Given::Number(batches.mass_kg), "kg", KG)?;
    let time = format!("={mixing}+{one}/{rate}");
    row("to mix and place one", &time, Given::Number(batches.time_s / 60.0), "min", "0.0")?;
    Ok((mixed, Some(count)))
}

/// What the bucket and the working time allow, kg.
fn largest_batch(sheet: &PourSheet) -> f64 {
    let basis = &sheet.basis;
    let bucket = basis.bucket_m3 * sheet.density_kg_per_m3;
    let placed = sheet.working_time_s.map(|time| basis.placing_rate_kg_per_s * (time - basis.mixing_time_s));
    placed.map_or(bucket, |placed| placed.min(bucket))
}

/// What to weigh; the rows of it.
fn weights(
    leaf: &mut Leaf,
    sheet: &PourSheet,
    stated: &Stated,
    mixed: &str,
    count: Option<&str>,
) -> Result<Vec<u32>, XlsxError> {
    leaf.heads(&["weigh", "share by weight", "in all, kg", "one batch, kg"])?;
    let shares = &sheet.basis.shares;
    let apart = usize::from(stated.hardener.is_some());
    let first = leaf.row();
    let last = first + (shares.len() + apart) as u32 - 1;
    // Resin and hardener stand first; the share of the binder stands with the resin.
    let shares_stated = std::iter::once(Some(shares[0].share)).chain((0..apart).map(|_| None));
    let shares_stated = shares_stated.chain(shares[1..].iter().map(|share| Some(share.share)));
    let binder = cell(1, first);
    let mut rows = Vec::new();
    let batch = |i: usize| sheet.batches.as_ref().and_then(|batches: &Batches| batches.weights.get(i));
    for (i, (weight, share)) in sheet.weights.iter().zip(shares_stated).enumerate() {
        let row = leaf.row();
        leaf.text(0, &weight.of, Look::Plain)?;
        if let Some(share) = share {
            leaf.input(1, Some(share), "0.00")?;
        }
        let own = if share.is_some() { cell(1, row) } else { binder.clone() };
        let part = match (&stated.hardener, i) {
            (Some(ratio), 0) => format!("/(1+{ratio}/100)"),
            (Some(ratio), 1) => format!("*({ratio}/100)/(1+{ratio}/100)"),
            _ => String::new(),
        };
        let formula = format!("={mixed}*{own}/SUM(B{first}:B{last}){part}");
        leaf.formula(2, &formula, &Given::Number(weight.mass_kg), KG, Look::Plain)?;
        if let (Some(count), Some(batch)) = (count, batch(i)) {
            let formula = format!("={}/{count}", cell(2, row));
            leaf.formula(3, &formula, &Given::Number(batch.mass_kg), KG, Look::Plain)?;
        }
        rows.push(row);
        leaf.next();
    }
    leaf.text(0, "together", Look::Sum)?;
    let sum = format!("=SUM(C{first}:C{last})");
    leaf.formula(2, &sum, &Given::Number(sheet.mixed_mass_kg), KG, Look::Sum)?;
    leaf.next();
    Ok(rows)
}

/// What to buy, in whole packs.
fn shopping(leaf: &mut Leaf, sheet: &PourSheet, weights: Vec<u32>) -> Result<(), XlsxError> {
    leaf.heads(&["buy", "needed, kg", "a pack, kg", "packs", "bought, kg", "price of a pack", "cost"])?;
    let first = leaf.row();
    for (purchase, weight) in sheet.shopping.iter().zip(weights) {
        let row = leaf.row();
        let at = |column: u16| cell(column, row);
        leaf.text(0, &purchase.of, Look::Plain)?;
        leaf.formula(1, &format!("=C{weight}"), &Given::Number(purchase.needed_kg), KG, Look::Plain)?;
        leaf.input(2, Some(purchase.pack_kg), "0.0##")?;
        let packs = format!("=MAX(1,ROUNDUP({}/{}-{HAIR},0))", at(1), at(2));
        leaf.formula(3, &packs, &Given::Number(purchase.packs as f64), "0", Look::Plain)?;
        let bought = format!("={}*{}", at(3), at(2));
        leaf.formula(4, &bought, &Given::Number(purchase.bought_kg), "0.0##", Look::Plain)?;
        leaf.input(5, None, MONEY)?;
        leaf.formula(6, &format!("={}*{}", at(3), at(5)), &Given::Number(0.0), MONEY, Look::Plain)?;
        leaf.next();
    }
    let last = leaf.row() - 1;
    leaf.text(0, "together", Look::Sum)?;
    let n = sheet.shopping.len();
    let total = format!("=IF(COUNT(F{first}:F{last})<{n},\"{NO_PRICE}\",SUM(G{first}:G{last}))");
    leaf.formula(6, &total, &Given::Text(NO_PRICE), MONEY, Look::Sum)?;
    leaf.next();
    Ok(())
}

/// What the program says of lifts, heat and mould.
fn beside(leaf: &mut Leaf, sheet: &PourSheet) -> Result<(), XlsxError> {
    leaf.heads(&["lifts, heat, mould", "computed", "unit"])?;
    let mut rows = vec![
        ("to lift, with its skeleton", Some(sheet.lifting_mass_kg), "kg"),
        ("lifts", Some(sheet.lifts.count as f64), ""),
        ("height of a lift", Some(1e3 * sheet.lifts.height_m), "mm"),
        ("from one lift to the next", sheet.lifts.wait_s.map(|wait| wait / 3600.0), "h"),
    ];
    if let Some(heat) = &sheet.heat {
        rows.push(("warmest in the middle", Some(heat.cure.peak_k - 273.15), "°C"));
        rows.push(("allowed by the binder", heat.limit_k.map(|limit| limit - 273.15), "°C"));
    }
    if let Some(mould) = &sheet.mould {
        rows.push(("on the foot of the mould", Some(mould.pressure_pa / 1e3), "kPa"));
        rows.push(("board of the mould", mould.board_m.map(|board| 1e3 * board), "mm"));
    }
    for (what, value, unit) in rows {
        let Some(value) = value else { continue };
        leaf.text(0, what, Look::Plain)?;
        leaf.number(1, value, &decimals(std::iter::once(value)), Look::Plain)?;
        leaf.text(2, unit, Look::Plain)?;
        leaf.next();
    }
    Ok(())
}

fn checklist<'a>(sheets: impl Iterator<Item = (&'a BuildPour, &'a PourSheet)>) -> Result<Leaf, XlsxError> {
    let mut leaf = Leaf::new("Checklist", &[8.0, 6.0, 30.0, 90.0])?;
    leaf.heads(&["done", "step", "build and mix", "what to do"])?;
    leaf.freeze()?;
    for (build, sheet) in sheets {
        for (number, step) in (1..).zip(&sheet.steps) {
            leaf.text(0, "", Look::Input)?;
            leaf.number(1, f64::from(number), "0", Look::Plain)?;
            leaf.text(2, &format!("{}: {}", build.label, sheet.mix), Look::Plain)?;
            leaf.text(3, step, Look::Plain)?;
            leaf.next();
        }
        leaf.next();
    }
    Ok(leaf)
}

fn cautions<'a>(sheets: impl Iterator<Item = (&'a BuildPour, &'a PourSheet)>) -> Result<Leaf, XlsxError> {
    let mut leaf = Leaf::new("Cautions", &[110.0])?;
    leaf.heads(&["beware"])?;
    leaf.freeze()?;
    let mut said: Vec<&str> = Vec::new();
    for (build, sheet) in sheets {
        let mass = show(sheet.lifting_mass_kg, Kind::Mass);
        leaf.line(&format!("{}, {}: {mass} to lift.", build.label, sheet.mix), Look::Plain)?;
        for caution in &sheet.cautions {
            if !said.contains(caution) {
                said.push(caution);
                leaf.line(caution, Look::Plain)?;
            }
        }
    }
    Ok(leaf)
}
