//! The pour as a workbook: a sheet per mix whose amounts follow from cells that the reader may change,
//! the checklist, the cautions.
//!
//! ```text
//! mass to mix = volume density (1 + waste)
//! an ingredient = mass to mix * share / sum of shares
//! resin = binder / (1 + h), hardener = binder h / (1 + h)      h: mass of hardener per mass of resin
//! a lift = mass to mix * its part of the volume
//! batches of a lift = lift / min(bucket density, rate (working time - mixing time)), rounded up
//! weights of a batch are rounded to 1 g, below 100 g to 0.1 g; totals are sums of rounded weights
//! packs = needed / pack, rounded up
//! ```

use super::sheet::{CellStyle, Computed, MONEY, NO_PRICE, Sheet, TEXT_WIDTH, cell, decimals};
use super::{notes_sheet, workbook_bytes};
use crate::identity::DesignIdentity;
use rust_xlsxwriter::XlsxError;
use stillbed_input::quantity::{Kind, show};
use stillbed_study::pour::bodies::{BuildPour, Pours};
use stillbed_study::pour::{LiftPour, PourSheet};

/// Number format of masses.
const KG: &str = "0.000";
/// Taken off before rounding up, so that rounding errors add no pack or batch; as in the program.
const ROUNDING: &str = "0.000000001";

/// The workbook of `answer`.
///
/// # Errors
/// What the format cannot hold.
pub fn book(answer: &Pours, design: &DesignIdentity) -> Result<Vec<u8>, XlsxError> {
    let mut worksheets = Vec::new();
    let sheets =
        || answer.builds.iter().flat_map(|build| build.sheets.iter().map(move |sheet| (build, sheet)));
    for (number, (build, sheet)) in (1..).zip(sheets()) {
        worksheets.push(amounts(number, build, sheet)?);
    }
    worksheets.push(checklist(sheets())?);
    worksheets.push(cautions(sheets())?);
    let problems: Vec<_> =
        sheets().flat_map(|(_, sheet)| &sheet.notes).chain(&answer.notes).cloned().collect();
    let paragraphs = "Lifts, heat, mould and checklist are those of the amounts as computed; they do not follow \
                changes made here: run the program anew for those.";
    worksheets.push(notes_sheet(design, &[paragraphs.to_string()], &problems)?);
    workbook_bytes(worksheets, design)
}

/// Names of the cells that hold the inputs.
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

fn amounts(number: usize, build: &BuildPour, sheet: &PourSheet) -> Result<Sheet, XlsxError> {
    let name = format!("{number} {} {}", build.name, sheet.mix);
    let mut widths = vec![40.0];
    widths.resize((3 + sheet.pours.len()).max(7), 14.0);
    let mut worksheet = Sheet::new(&name, &widths)?;
    worksheet.line(&format!("{}: {}", build.label, sheet.mix), CellStyle::Title)?;
    worksheet.freeze()?;
    let stated = stated(&mut worksheet, sheet)?;
    worksheet.next();
    let (mixed, largest) = totals(&mut worksheet, sheet, &stated)?;
    worksheet.next();
    let lifts = lifts(&mut worksheet, sheet, &stated, &mixed, largest.as_deref())?;
    worksheet.next();
    let (weights, together) = weights(&mut worksheet, sheet, &stated, &lifts)?;
    worksheet.next();
    cost(&mut worksheet, sheet, &stated, &together)?;
    worksheet.next();
    shopping(&mut worksheet, sheet, weights)?;
    worksheet.next();
    beside(&mut worksheet, sheet)?;
    Ok(worksheet)
}

/// The rows of inputs that the reader may change.
fn stated(worksheet: &mut Sheet, sheet: &PourSheet) -> Result<Stated, XlsxError> {
    worksheet.heads(&["what amounts follow from", "stated", "unit"])?;
    let mut row = |what: &str, value: Option<f64>, unit: &str, shown: &str| {
        worksheet.text(0, what, CellStyle::Plain)?;
        worksheet.input(1, value, shown)?;
        worksheet.text(2, unit, CellStyle::Plain)?;
        let cell = cell(1, worksheet.row());
        worksheet.next();
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

/// The totals; returns the cells of the mass to mix and of the largest batch.
fn totals(
    worksheet: &mut Sheet,
    sheet: &PourSheet,
    stated: &Stated,
) -> Result<(String, Option<String>), XlsxError> {
    let Stated { volume, density, waste, bucket, mixing, rate, .. } = stated;
    let asked = sheet.cast_mass_kg * (1.0 + sheet.basis.waste);
    worksheet.heads(&["what follows", "computed", "unit"])?;
    let mut row = |what: &str, formula: &str, computed: Computed, unit: &str, shown: &str| {
        worksheet.text(0, what, CellStyle::Plain)?;
        worksheet.formula(1, formula, &computed, shown, CellStyle::Plain)?;
        worksheet.text(2, unit, CellStyle::Plain)?;
        let cell = cell(1, worksheet.row());
        worksheet.next();
        Ok::<String, XlsxError>(cell)
    };
    let cast =
        row("cast", &format!("={volume}*{density}/1000"), Computed::Number(sheet.cast_mass_kg), "kg", KG)?;
    let mixed = row("to mix", &format!("={cast}*(1+{waste})"), Computed::Number(asked), "kg", KG)?;
    if sheet.pours.iter().any(|lift| lift.batches.is_none()) {
        worksheet.line(
            "No batch: mixing alone outlasts the time in which the binder can be worked.",
            CellStyle::Plain,
        )?;
        return Ok((mixed, None));
    }
    let by_bucket = format!("{bucket}*{density}/1000");
    let largest = match &stated.working {
        Some(working) => format!("=MIN({by_bucket},{rate}*({working}-{mixing}))"),
        None => format!("={by_bucket}"),
    };
    let largest = row("largest batch", &largest, Computed::Number(largest_batch(sheet)), "kg", KG)?;
    Ok((mixed, Some(largest)))
}

/// The cells of one lift: the mass mixed for it; the number of its batches and the mass of one.
struct LiftCells {
    mixed: String,
    batches: Option<(String, String)>,
}

/// The mass and the batches of each lift.
fn lifts(
    worksheet: &mut Sheet,
    sheet: &PourSheet,
    stated: &Stated,
    mixed: &str,
    largest: Option<&str>,
) -> Result<Vec<LiftCells>, XlsxError> {
    worksheet.heads(&["lift", "part of the volume", "to mix, kg", "batches", "one, kg", "one takes, min"])?;
    let asked = sheet.cast_mass_kg * (1.0 + sheet.basis.waste);
    let mut cells = Vec::new();
    for lift in &sheet.pours {
        let row = worksheet.row();
        let part = lift.volume_m3 / sheet.volume_m3;
        worksheet.text(0, &format!("lift {}, {}", lift.number, lift.when()), CellStyle::Plain)?;
        worksheet.number(1, part, "0.0000", CellStyle::Plain)?;
        let own = asked * part;
        worksheet.formula(
            2,
            &format!("={mixed}*{}", cell(1, row)),
            &Computed::Number(own),
            KG,
            CellStyle::Plain,
        )?;
        let (mix, count, one) = (cell(2, row), cell(3, row), cell(4, row));
        let batches = lift.batches.as_ref().zip(largest);
        if let Some((batches, largest)) = batches {
            let formula = format!(
                "=IF({largest}>0,MAX(1,ROUNDUP({mix}/{largest}-{ROUNDING},0)),\"mixing outlasts the binder\")"
            );
            let each = own / batches.count as f64;
            worksheet.formula(3, &formula, &Computed::Number(batches.count as f64), "0", CellStyle::Plain)?;
            worksheet.formula(
                4,
                &format!("={mix}/{count}"),
                &Computed::Number(each),
                KG,
                CellStyle::Plain,
            )?;
            let time = sheet.basis.mixing_time_s + each / sheet.basis.placing_rate_kg_per_s;
            let formula = format!("={}+{one}/{}", stated.mixing, stated.rate);
            worksheet.formula(5, &formula, &Computed::Number(time / 60.0), "0.0", CellStyle::Plain)?;
        }
        cells.push(LiftCells { mixed: mix, batches: batches.map(|_| (count, one)) });
        worksheet.next();
    }
    Ok(cells)
}

/// The largest batch that bucket and working time allow, kg.
fn largest_batch(sheet: &PourSheet) -> f64 {
    let basis = &sheet.basis;
    let bucket = basis.bucket_m3 * sheet.density_kg_per_m3;
    let placed = sheet.working_time_s.map(|time| basis.placing_rate_kg_per_s * (time - basis.mixing_time_s));
    placed.map_or(bucket, |placed| placed.min(bucket))
}

/// A formula that rounds a mass as it is weighed: to 1 g, below 100 g to 0.1 g.
fn weighed(mass: &str) -> String {
    format!("ROUND({mass},IF({mass}<0.1,4,3))")
}

/// The cost of the weighed mix.
fn cost(worksheet: &mut Sheet, sheet: &PourSheet, stated: &Stated, together: &str) -> Result<(), XlsxError> {
    let price = &stated.price;
    let formula = format!("=IF(COUNT({price})<1,\"{NO_PRICE}\",{together}*{price})");
    let computed = sheet.price_per_kg.map(|price| sheet.mixed_mass_kg * price);
    worksheet.text(0, "cost of the mix at its price", CellStyle::Plain)?;
    worksheet.formula(
        1,
        &formula,
        &computed.map_or(Computed::Text(NO_PRICE), Computed::Number),
        MONEY,
        CellStyle::Plain,
    )?;
    worksheet.next();
    Ok(())
}

/// Weights for one batch of each lift and in total; returns the rows and the cell of the sum.
fn weights(
    worksheet: &mut Sheet,
    sheet: &PourSheet,
    stated: &Stated,
    lifts: &[LiftCells],
) -> Result<(Vec<u32>, String), XlsxError> {
    let mut heads = vec!["weigh".to_string(), "share by weight".to_string(), "in all, kg".to_string()];
    heads.extend(sheet.pours.iter().map(|lift| match lift.batches {
        Some(_) => format!("a batch of lift {}, kg", lift.number),
        None => format!("lift {}, kg", lift.number),
    }));
    worksheet.heads(&heads)?;
    let shares = &sheet.basis.shares;
    let apart = usize::from(stated.hardener.is_some());
    let first = worksheet.row();
    let last = first + (shares.len() + apart) as u32 - 1;
    // Resin and hardener come first; the share of the whole binder is in the row of the resin.
    let shares_stated = std::iter::once(Some(shares[0].share)).chain((0..apart).map(|_| None));
    let shares_stated = shares_stated.chain(shares[1..].iter().map(|share| Some(share.share)));
    let binder = cell(1, first);
    let mut rows = Vec::new();
    let of_lift = |lift: &LiftPour, i: usize| match &lift.batches {
        Some(batches) => batches.weights[i].mass_kg,
        None => lift.weights[i].mass_kg,
    };
    for (i, (weight, share)) in sheet.weights.iter().zip(shares_stated).enumerate() {
        let row = worksheet.row();
        worksheet.text(0, &weight.of, CellStyle::Plain)?;
        if let Some(share) = share {
            worksheet.input(1, Some(share), "0.00")?;
        }
        let own = if share.is_some() { cell(1, row) } else { binder.clone() };
        let part = match (&stated.hardener, i) {
            (Some(ratio), 0) => format!("/(1+{ratio}/100)"),
            (Some(ratio), 1) => format!("*({ratio}/100)/(1+{ratio}/100)"),
            _ => String::new(),
        };
        let mut whole = String::new();
        for (column, (cells, lift)) in (3..).zip(lifts.iter().zip(&sheet.pours)) {
            let mass = cells.batches.as_ref().map_or(&cells.mixed, |(_, one)| one);
            let formula = weighed(&format!("({mass}*{own}/SUM(B{first}:B{last}){part})"));
            let computed = Computed::Number(of_lift(lift, i));
            worksheet.formula(column, &format!("={formula}"), &computed, "0.000#", CellStyle::Plain)?;
            let times = cells.batches.as_ref().map_or(String::new(), |(count, _)| format!("*{count}"));
            whole.push_str(&format!("+{}{times}", cell(column, row)));
        }
        let formula = format!("={}", whole.trim_start_matches('+'));
        worksheet.formula(2, &formula, &Computed::Number(weight.mass_kg), "0.000#", CellStyle::Plain)?;
        rows.push(row);
        worksheet.next();
    }
    worksheet.text(0, "together", CellStyle::Sum)?;
    let sum = format!("=SUM(C{first}:C{last})");
    worksheet.formula(2, &sum, &Computed::Number(sheet.mixed_mass_kg), "0.000#", CellStyle::Sum)?;
    let together = cell(2, worksheet.row());
    worksheet.next();
    Ok((rows, together))
}

/// What to buy, in whole packs.
fn shopping(worksheet: &mut Sheet, sheet: &PourSheet, weights: Vec<u32>) -> Result<(), XlsxError> {
    worksheet.heads(&[
        "buy",
        "needed, kg",
        "a pack, kg",
        "packs",
        "bought, kg",
        "price of a pack",
        "cost",
    ])?;
    let first = worksheet.row();
    for (purchase, weight) in sheet.shopping.iter().zip(weights) {
        let row = worksheet.row();
        let at = |column: u16| cell(column, row);
        worksheet.text(0, &purchase.of, CellStyle::Plain)?;
        worksheet.formula(
            1,
            &format!("=C{weight}"),
            &Computed::Number(purchase.needed_kg),
            KG,
            CellStyle::Plain,
        )?;
        worksheet.input(2, Some(purchase.pack_kg), "0.0##")?;
        let packs = format!("=MAX(1,ROUNDUP({}/{}-{ROUNDING},0))", at(1), at(2));
        worksheet.formula(3, &packs, &Computed::Number(purchase.packs as f64), "0", CellStyle::Plain)?;
        let bought = format!("={}*{}", at(3), at(2));
        worksheet.formula(4, &bought, &Computed::Number(purchase.bought_kg), "0.0##", CellStyle::Plain)?;
        worksheet.input(5, None, MONEY)?;
        worksheet.formula(
            6,
            &format!("={}*{}", at(3), at(5)),
            &Computed::Number(0.0),
            MONEY,
            CellStyle::Plain,
        )?;
        worksheet.next();
    }
    let last = worksheet.row() - 1;
    worksheet.text(0, "together", CellStyle::Sum)?;
    let n = sheet.shopping.len();
    let total = format!("=IF(COUNT(F{first}:F{last})<{n},\"{NO_PRICE}\",SUM(G{first}:G{last}))");
    worksheet.formula(6, &total, &Computed::Text(NO_PRICE), MONEY, CellStyle::Sum)?;
    worksheet.next();
    Ok(())
}

/// The computed values of lifts, heat and mould, which do not follow changes.
fn beside(worksheet: &mut Sheet, sheet: &PourSheet) -> Result<(), XlsxError> {
    worksheet.heads(&["lifts, heat, mould", "computed", "unit"])?;
    let mut rows = vec![
        ("to lift, with its skeleton", Some(sheet.lifting_mass_kg), "kg"),
        ("lifts", Some(sheet.lifts.count as f64), ""),
        ("height of the highest lift", Some(1e3 * sheet.lifts.height_m), "mm"),
        ("from the begin of one lift to that of the next", sheet.lifts.wait_s.map(|wait| wait / 3600.0), "h"),
    ];
    if let Some(heat) = &sheet.heat {
        rows.push(("hottest place", Some(heat.peak_k.value - 273.15), "°C"));
        rows.push(("hottest place, 5 % of the draws below", Some(heat.peak_k.low - 273.15), "°C"));
        rows.push(("hottest place, 95 % of the draws below", Some(heat.peak_k.high - 273.15), "°C"));
        rows.push(("allowed by the binder", heat.limit_k.map(|limit| limit - 273.15), "°C"));
        let chance = heat.chance_above_limit.map(|chance| 100.0 * chance);
        rows.push(("draws that pass it", chance, "%"));
    }
    if let Some(mould) = &sheet.mould {
        rows.push(("on the foot of the mould", Some(mould.pressure_pa / 1e3), "kPa"));
        rows.push(("board of the mould", mould.board_m.map(|board| 1e3 * board), "mm"));
    }
    for (what, value, unit) in rows {
        let Some(value) = value else { continue };
        worksheet.text(0, what, CellStyle::Plain)?;
        worksheet.number(1, value, &decimals(std::iter::once(value)), CellStyle::Plain)?;
        worksheet.text(2, unit, CellStyle::Plain)?;
        worksheet.next();
    }
    Ok(())
}

fn checklist<'a>(sheets: impl Iterator<Item = (&'a BuildPour, &'a PourSheet)>) -> Result<Sheet, XlsxError> {
    let mut worksheet = Sheet::new("Checklist", &[8.0, 6.0, 30.0, TEXT_WIDTH])?;
    worksheet.heads(&["done", "step", "build and mix", "what to do"])?;
    worksheet.freeze()?;
    for (build, sheet) in sheets {
        for (number, step) in (1..).zip(&sheet.steps) {
            worksheet.text(0, "", CellStyle::Input)?;
            worksheet.number(1, f64::from(number), "0", CellStyle::Plain)?;
            worksheet.text(2, &format!("{}: {}", build.label, sheet.mix), CellStyle::Plain)?;
            worksheet.text(3, step, CellStyle::Plain)?;
            worksheet.next();
        }
        worksheet.next();
    }
    Ok(worksheet)
}

fn cautions<'a>(sheets: impl Iterator<Item = (&'a BuildPour, &'a PourSheet)>) -> Result<Sheet, XlsxError> {
    let mut worksheet = Sheet::new("Cautions", &[TEXT_WIDTH])?;
    worksheet.heads(&["beware"])?;
    worksheet.freeze()?;
    let mut said: Vec<&str> = Vec::new();
    for (build, sheet) in sheets {
        let mass = show(sheet.lifting_mass_kg, Kind::Mass);
        worksheet.line(&format!("{}, {}: {mass} to lift.", build.label, sheet.mix), CellStyle::Plain)?;
        for caution in &sheet.cautions {
            if !said.contains(caution) {
                said.push(caution);
                worksheet.line(caution, CellStyle::Plain)?;
            }
        }
    }
    Ok(worksheet)
}
