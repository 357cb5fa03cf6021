//! A comparison as a workbook: builds, costs with prices to change, spreads, chances, notes.

use super::super::presentation::compare::filled;
use super::super::table::{Cell, Table};
use super::sheet::{CellStyle, Computed, MONEY, NO_PRICE, Sheet, cell, decimals};
use super::{notes_sheet, workbook_bytes};
use crate::identity::DesignIdentity;
use rust_xlsxwriter::XlsxError;
use stillbed_study::compare::{BuildComparison, Comparison};

/// The workbook of `answer`.
///
/// # Errors
/// What the format cannot hold.
pub fn book(answer: &Comparison, design: &DesignIdentity) -> Result<Vec<u8>, XlsxError> {
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
    let mut paragraphs = answer.verdict.paragraphs.clone();
    paragraphs.extend(answer.at_equal.map(|what| format!("Builds are made equal in {what}.")));
    paragraphs.push(match answer.draws {
        0 => "All values are the stated ones; no spread was drawn.".to_string(),
        n => format!("Limits are those of 5 % and 95 % of {n} draws of the uncertain values."),
    });
    paragraphs.extend(answer.advice.clone());
    worksheets.push(notes_sheet(design, &paragraphs, &answer.notes)?);
    workbook_bytes(worksheets, design)
}

/// The sheet with one row per build. Costs refer to the sheet where prices can be changed.
fn builds(table: &Table, totals: &[(u32, Computed)]) -> Result<Sheet, XlsxError> {
    let mut widths = vec![13.0; table.heads.len()];
    widths[0] = 34.0;
    let mut worksheet = Sheet::new("Builds", &widths)?;
    worksheet.table(table)?;
    if let Some(column) = table.heads.iter().position(|head| head.key == "cost") {
        for (row, (total, computed)) in (2..).zip(totals) {
            worksheet.go_to(row);
            worksheet.formula(
                column as u16,
                &format!("=Costs!E{total}"),
                computed,
                MONEY,
                CellStyle::Plain,
            )?;
        }
    }
    Ok(worksheet)
}

/// The cost of each build part by part, and per build the row and value of its total.
fn costs(answer: &Comparison) -> Result<(Sheet, Vec<(u32, Computed)>), XlsxError> {
    let mut worksheet = Sheet::new("Costs", &[34.0, 34.0, 12.0, 14.0, 14.0])?;
    worksheet.heads(&["build", "of", "mass, kg", "price per kg", "cost"])?;
    worksheet.freeze()?;
    let mut totals = Vec::new();
    for build in &answer.builds {
        let first = worksheet.row();
        let parts = &build.costs.parts;
        let shown = decimals(parts.iter().map(|part| part.mass_kg));
        for part in parts {
            worksheet.text(0, &build.label, CellStyle::Plain)?;
            worksheet.text(1, &part.of, CellStyle::Plain)?;
            worksheet.number(2, part.mass_kg, &shown, CellStyle::Plain)?;
            worksheet.input(3, part.price_per_kg, MONEY)?;
            let formula = format!("={}*{}", cell(2, worksheet.row()), cell(3, worksheet.row()));
            let cost = part.mass_kg * part.price_per_kg.unwrap_or(0.0);
            worksheet.formula(4, &formula, &Computed::Number(cost), MONEY, CellStyle::Plain)?;
            worksheet.next();
        }
        worksheet.text(0, &build.label, CellStyle::Plain)?;
        worksheet.text(1, "fixed: work, feet, inserts", CellStyle::Plain)?;
        worksheet.input(4, Some(build.costs.fixed), MONEY)?;
        worksheet.next();
        let last = worksheet.row() - 1;
        worksheet.text(0, &build.label, CellStyle::Sum)?;
        worksheet.text(1, "total", CellStyle::Sum)?;
        let formula = match parts.len() {
            0 => format!("=SUM(E{first}:E{last})"),
            n => format!("=IF(COUNT(D{first}:D{})<{n},\"{NO_PRICE}\",SUM(E{first}:E{last}))", last - 1),
        };
        let total = || build.costs.total().map_or(Computed::Text(NO_PRICE), Computed::Number);
        worksheet.formula(4, &formula, &total(), MONEY, CellStyle::Sum)?;
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
                worksheet.text(0, build, CellStyle::Plain)?;
            }
            worksheet.text(1, &head.title, CellStyle::Plain)?;
            worksheet.text(2, head.unit.name, CellStyle::Plain)?;
            let shown = decimals(values.iter().flatten().copied());
            for (i, value) in (3..).zip(values) {
                if let Some(value) = value {
                    worksheet.number(i, value, &shown, CellStyle::Plain)?;
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
        let of = |build: &&BuildComparison| build.name == name;
        answer.builds.iter().find(of).map_or(name.to_string(), |build| build.label.clone())
    };
    for beats in &answer.beats {
        worksheet.text(0, &label(&beats.build), CellStyle::Plain)?;
        worksheet.text(1, &label(&beats.over), CellStyle::Plain)?;
        worksheet.text(2, &beats.by.replace('_', " "), CellStyle::Plain)?;
        worksheet.number(3, beats.chance, "0 %", CellStyle::Plain)?;
        worksheet.next();
    }
    Ok(worksheet)
}
