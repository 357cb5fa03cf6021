//! A table; if it is too wide, split into groups of columns that each repeat the first.

use super::fold::{clean, fold, left, right, width};
use super::palette::Palette;
use super::style::{Style, title};
use crate::table::{GridColumn, Table};

const GAP: usize = 2;
/// Largest width of a text column in a table that does not fit; longer cells are folded.
const NAMES: usize = 30;

/// One column with its cells folded.
struct Set {
    width: usize,
    right: bool,
    title: Vec<String>,
    unit: String,
    cells: Vec<Vec<String>>,
}

pub(super) fn lines(table: &Table, style: &Style) -> Vec<String> {
    let mut lines = title(&table.title, style);
    if table.is_empty() {
        lines.push(style.paint("nothing to list", Palette::Quiet));
        return lines;
    }
    let grid = table.shown();
    let full = set_all(&grid.columns, usize::MAX, usize::MAX);
    let columns = if total(full.iter()) <= style.columns() {
        full
    } else {
        // The first column is repeated in every group, so it may take only a third.
        let first = style.columns() / 3;
        set_all(&grid.columns, first, NAMES.min(style.columns() - first - GAP))
    };
    for (i, group) in groups(&columns, style.columns()).iter().enumerate() {
        if i > 0 {
            lines.push(String::new());
        }
        lines.extend(group_lines(group, style));
    }
    lines
}

fn set_all(columns: &[GridColumn], first: usize, others: usize) -> Vec<Set> {
    columns.iter().enumerate().map(|(i, column)| set(column, if i == 0 { first } else { others })).collect()
}

fn set(column: &GridColumn, at_most: usize) -> Set {
    let cells: Vec<Vec<String>> = column
        .cells
        .iter()
        // Cells that need no folding keep the spaces that align numbers.
        .map(|cell| if width(cell) <= at_most { vec![clean(cell)] } else { fold(cell, at_most) })
        .collect();
    let longest = cells.iter().flatten().map(|line| width(line)).max().unwrap_or(0);
    let word = column.title.split(' ').map(width).max().unwrap_or(0).min(at_most);
    let wide = longest.max(word).max(width(&column.unit));
    // A title over numbers is folded to their width, but to no less than nine characters.
    let unfolded = at_most == usize::MAX && !column.right;
    let title = fold(&column.title, if unfolded { at_most } else { wide.max(9) });
    let wide = title.iter().map(|line| width(line)).max().unwrap_or(0).max(wide);
    Set { width: wide, right: column.right, title, unit: column.unit.clone(), cells }
}

fn total<'a>(columns: impl Iterator<Item = &'a Set>) -> usize {
    columns.map(|column| column.width + GAP).sum::<usize>().saturating_sub(GAP)
}

/// Groups of columns that fit side by side; each begins with the first column.
fn groups(columns: &[Set], room: usize) -> Vec<Vec<&Set>> {
    let Some((first, rest)) = columns.split_first() else { return Vec::new() };
    let mut groups = vec![vec![first]];
    for column in rest {
        let fits = |group: &Vec<&Set>| total(group.iter().copied()) + GAP + column.width <= room;
        match groups.last_mut() {
            Some(group) if group.len() == 1 || fits(group) => group.push(column),
            _ => groups.push(vec![first, column]),
        }
    }
    groups
}

fn group_lines(group: &[&Set], style: &Style) -> Vec<String> {
    let row = |text: &dyn Fn(&Set) -> String| {
        let cells = group.iter().map(|set| {
            let text = text(set);
            if set.right { right(&text, set.width) } else { left(&text, set.width) }
        });
        cells.collect::<Vec<_>>().join(&" ".repeat(GAP)).trim_end().to_string()
    };
    let mut lines = Vec::new();
    // Titles end directly above the units, or above the rule.
    let deep = group.iter().map(|set| set.title.len()).max().unwrap_or(0);
    for i in 0..deep {
        let line = row(&|set| {
            (i + set.title.len()).checked_sub(deep).map_or(String::new(), |j| set.title[j].clone())
        });
        lines.push(style.paint(&line, Palette::Strong));
    }
    if group.iter().any(|set| !set.unit.is_empty()) {
        lines.push(style.paint(&row(&|set| set.unit.clone()), Palette::Quiet));
    }
    lines.push(style.paint(&row(&|set| "─".repeat(set.width)), Palette::Quiet));
    for i in 0..group[0].cells.len() {
        let deep = group.iter().map(|set| set.cells[i].len()).max().unwrap_or(0);
        lines.extend((0..deep).map(|j| row(&|set| set.cells[i].get(j).cloned().unwrap_or_default())));
    }
    lines
}
