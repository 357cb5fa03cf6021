//! Places the names of a machine's points beside it, each with a line to its point: over nothing and not over each
//! other. The page's script does the same for other views (`script/names.js`).

use super::sheet::{fitted, text_width};
use crate::block::{PointName, Wireframe};

/// Height of a line of text.
const LINE: f64 = 14.0;
/// Room between names above each other.
const GAP: f64 = 5.0;
/// Room between the machine and its names.
const OFF: f64 = 16.0;

/// A name at its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    /// Index of the name.
    pub name: usize,
    /// Where its text begins, or ends when it is on the left; the base line of its first line.
    pub at: [f64; 2],
    /// True on the left of the machine.
    pub left: bool,
}

/// Lines of a name, cut to `room`.
pub(super) fn lines(name: &PointName, room: f64) -> Vec<String> {
    let lines = [name.name.replace('_', " "), name.detail.clone()];
    lines.iter().filter(|line| !line.is_empty()).map(|line| fitted(line, room)).collect()
}

/// True for a name that is shown, also where room is short.
pub(super) fn is_shown(name: &PointName, brief: bool) -> bool {
    !brief || name.matters
}

/// Room that the names need on each side, at most `most`.
pub(super) fn room(wireframe: &Wireframe, brief: bool, most: f64) -> f64 {
    let of = |name: &PointName| text_width(&name.name).max(text_width(&name.detail));
    let shown = wireframe.names.iter().filter(|name| is_shown(name, brief));
    shown.map(of).fold(0.0, f64::max).min(most)
}

/// The places of the names whose points are `at` these places, of a machine between `left` and `right` in a drawing
/// of this `height`. What comes later in the list is left out where there is no room.
pub(super) fn place(
    names: &[(usize, usize, (f64, f64))],
    [left, right]: [f64; 2],
    height: f64,
    free_below_left: f64,
) -> Vec<Placed> {
    let mut sides: [Vec<(usize, f64, f64)>; 2] = [Vec::new(), Vec::new()];
    let rooms = [height - free_below_left, height];
    let tall = |count: usize| LINE * count as f64 + GAP;
    for (name, count, at) in names {
        let first = usize::from(2.0 * at.0 > left + right);
        for side in [first, 1 - first] {
            let used: f64 = sides[side].iter().map(|(_, _, tall)| tall).sum();
            if used + tall(*count) <= rooms[side] {
                sides[side].push((*name, at.1, tall(*count)));
                break;
            }
        }
    }
    let mut placed = Vec::new();
    for (number, mut side) in sides.into_iter().enumerate() {
        side.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut tops = Vec::new();
        let mut free = 0.0_f64;
        for (_, at, tall) in &side {
            let top = free.max(at - 0.5 * tall);
            tops.push(top);
            free = top + tall;
        }
        // What reaches beyond the lower edge moves up, and what is in its way.
        let mut end = rooms[number];
        for (top, (_, _, tall)) in tops.iter_mut().zip(&side).rev() {
            *top = top.min(end - tall);
            end = *top;
        }
        placed.extend(side.iter().zip(tops).map(|((name, _, _), top)| Placed {
            name: *name,
            at: [if number == 0 { left - OFF } else { right + OFF }, top + LINE - 2.0],
            left: number == 0,
        }));
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lie_beside_the_machine_and_not_on_each_other() {
        let names: Vec<(usize, usize, (f64, f64))> =
            (0..9).map(|i| (i, 1 + i % 2, (100.0 + 20.0 * i as f64, 90.0 + i as f64))).collect();
        let placed = place(&names, [80.0, 280.0], 200.0, 76.0);
        assert_eq!(placed.len(), 9);
        for (i, one) in placed.iter().enumerate() {
            assert!(one.at[0] < 80.0 || one.at[0] > 280.0);
            assert!(one.at[1] > 0.0 && one.at[1] < 200.0);
            for other in &placed[..i] {
                assert!(one.left != other.left || (one.at[1] - other.at[1]).abs() >= LINE, "{placed:?}");
            }
        }
    }

    #[test]
    fn the_first_names_are_kept_where_room_is_short() {
        let names: Vec<(usize, usize, (f64, f64))> = (0..30).map(|i| (i, 1, (50.0, 50.0))).collect();
        let placed = place(&names, [0.0, 100.0], 100.0, 0.0);
        assert!(placed.len() == 10 && placed.iter().all(|own| own.name < 10), "{placed:?}");
    }
}
