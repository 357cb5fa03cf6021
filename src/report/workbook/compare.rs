//! A comparison as a workbook: builds, costs with prices to change, spreads, chances, notes.

use super::super::present::compare::filled;
use super::super::table::{Cell, Table};
use super::sheet::{Given, Look, MONEY, NO_PRICE, Sheet, cell, decimals};
use super::{Imprint, bound, notes};
use rust_xlsxwriter::XlsxError;
use stillbed_study::compare::{Compared, Comparison};

/// The workbook of `answer`.
///
/// # Errors
/// What the format cannot hold.
pub fn book(answer: &Comparison, imprint: &Imprint) -> Result<Vec<u8>, XlsxError> {
    let columns = filled(&answer.builds, answer.at_equal.is_some());
    let table = Table::new("", &columns, &answer.builds);
    let (costs, totals) = costs(answer)?;
    let mut worksheets = vec![builds(&table, &totals)?, costs];
    if answer.draws > 0 {
        worksheets.push(spreads(&table)?);
    }
    if !answer.beats.is_empty() {
        worksheets.push(chances(answer)?);
    }
    let mut told = answer.verdict.paragraphs.clone();
    told.extend(answer.at_equal.map(|what| format!("Builds are made equal in {what}.")));
    told.push(match answer.draws {
        0 => "All values are the stated ones; no spread was drawn.".to_string(),
        n => format!("Limits are those of 5 % and 95 % of {n} draws of the uncertain values."),
    });
    told.extend(answer.advice.clone());
    worksheets.push(notes(imprint, &told, &answer.notes)?);
    bound(worksheets, imprint)
}

/// The sheet with one row per build. Costs refer to the sheet where prices can be changed.
fn builds(table: &Table, totals: &[(u32, Given)]) -> Result<Sheet, XlsxError> {
    let mut widths = vec![13.0; table.heads.len()];
    widths[0] = 34.0;
    let mut worksheet = Sheet::new("Builds", &widths)?;
    worksheet.table(table)?;
    if let Some(column) = table.heads.iter().position(|head| head.key == "cost") {
        for (row, (total, given)) in (2..).zip(totals) {
            worksheet.go_to(row);
            worksheet.formula(column as u16, &format!("=Costs!E{total}"), given, MONEY, Look::Plain)?;
        }
    }
    Ok(worksheet)
}

/// The cost of each build part by part, and per build the row and value of its total.
fn costs(answer: &Comparison) -> Result<(Sheet, Vec<(u32, Given)>), XlsxError> {
    let mut worksheet = Sheet::new("Costs", &[34.0, 34.0, 12.0, 14.0, 14.0])?;
    worksheet.heads(&["build", "of", "mass, kg", "price per kg", "cost"])?;
    worksheet.freeze()?;
    let mut totals = Vec::new();
    for build in &answer.builds {
        let first = worksheet.row();
        let parts = &build.costs.parts;
        let shown = decimals(parts.iter().map(|part| part.mass_kg));
        for part in parts {
            worksheet.text(0, &build.label, Look::Plain)?;
            worksheet.text(1, &part.of, Look::Plain)?;
            worksheet.number(2, part.mass_kg, &shown, Look::Plain)?;
            worksheet.input(3, part.price_per_kg, MONEY)?;
            let formula = format!("={}*{}", cell(2, worksheet.row()), cell(3, worksheet.row()));
            let cost = part.mass_kg * part.price_per_kg.unwrap_or(0.0);
            worksheet.formula(4, &formula, &Given::Number(cost), MONEY, Look::Plain)?;
            worksheet.next();
        }
        worksheet.text(0, &build.label, Look::Plain)?;
        worksheet.text(1, "fixed: work, feet, inserts", Look::Plain)?;
        worksheet.input(4, Some(build.costs.fixed), MONEY)?;
        worksheet.next();
        let last = worksheet.row() - 1;
        worksheet.text(0, &build.label, Look::Sum)?;
        worksheet.text(1, "total", Look::Sum)?;
        let formula = match parts.len() {
            0 => format!("=SUM(E{first}:E{last})"),
            n => format!("=IF(COUNT(D{first}:D{})<{n},\"{NO_PRICE}\",SUM(E{first}:E{last}))", last - 1),
        };
        let total = || build.costs.total().map_or(Given::Text(NO_PRICE), Given::Number);
        worksheet.formula(4, &formula, &total(), MONEY, Look::Sum)?;
        totals.push((worksheet.row(), total()));
        worksheet.next();
        worksheet.next();
    }
    Ok((worksheet, totals))
}

/// Value, 5 %, 50 % and 95 % limits of every measure that has a spread.
fn spreads(table: &Table) -> Result<Sheet, XlsxError> {
    let mut worksheet = Sheet::new("Spreads", &[34.0, 24.0, 10.0, 14.0, 14.0, 14.0, 14.0])?;
    worksheet.heads(&["build", "measure", "unit", "stated", "5 %", "50 %", "95 %"])?;
    worksheet.freeze()?;
    for (column, head) in table.heads.iter().enumerate() {
        for row in &table.rows {
            let Cell::Spread { value, low, high, median } = row[column] else { continue };
            let values =
                [Some(value), Some(low), median, Some(high)].map(|value| Some(value? / head.unit.size));
            if let Cell::Text(build) = &row[0] {
                worksheet.text(0, build, Look::Plain)?;
            }
            worksheet.text(1, &head.title, Look::Plain)?;
            worksheet.text(2, head.unit.name, Look::Plain)?;
            let shown = decimals(values.iter().flatten().copied());
            for (i, value) in (3..).zip(values) {
                if let Some(value) = value {
                    worksheet.number(i, value, &shown, Look::Plain)?;
                }
            }
            worksheet.next();
        }
    }
    Ok(worksheet)
}

/// The share of draws in which one build beats another.
fn chances(answer: &Comparison) -> Result<Sheet, XlsxError> {
    let mut worksheet = Sheet::new("Chances", &[34.0, 34.0, 24.0, 12.0])?;
    worksheet.heads(&["build", "beats", "in", "chance"])?;
    worksheet.freeze()?;
    let label = |name: &str| {
        let of = |build: &&Compared| build.name == name;
        answer.builds.iter().find(of).map_or(name.to_string(), |build| build.label.clone())
    };
    for beats in &answer.beats {
        worksheet.text(0, &label(&beats.build), Look::Plain)?;
        worksheet.text(1, &label(&beats.over), Look::Plain)?;
        worksheet.text(2, &beats.by.replace('_', " "), Look::Plain)?;
        worksheet.number(3, beats.chance, "0 %", Look::Plain)?;
        worksheet.next();
    }
    Ok(worksheet)
}
