//! Pairs two lists at the least total cost, where an item left unpaired has a cost too.
//!
//! # Source
//! - `kuhn1955`: shortest augmenting paths with prices on rows and columns

/// For each of `rows` the column that it is paired with. The sum of `cost(row, column)` over the pairs,
/// plus `alone` for each unpaired row, is the least possible; no pair costs more than `alone`.
pub fn assign_at_least_cost(
    rows: usize,
    columns: usize,
    cost: impl Fn(usize, usize) -> f64,
    alone: f64,
) -> Vec<Option<usize>> {
    // One extra column per row stands for leaving it unpaired.
    let width = columns + rows;
    let price = |i: usize, j: usize| {
        if j < columns { cost(i, j).clamp(0.0, 1e9) } else { alone }
    };
    let mut of_row = vec![0.0; rows + 1];
    let mut of_column = vec![0.0; width + 1];
    let mut owner = vec![0; width + 1];
    for row in 1..=rows {
        owner[0] = row;
        let mut at = 0;
        let mut least = vec![f64::MAX; width + 1];
        let mut before = vec![0; width + 1];
        let mut seen = vec![false; width + 1];
        while owner[at] != 0 {
            seen[at] = true;
            let i = owner[at];
            let (mut step, mut next) = (f64::MAX, 0);
            for j in 1..=width {
                if seen[j] {
                    continue;
                }
                let reduced = price(i - 1, j - 1) - of_row[i] - of_column[j];
                if reduced < least[j] {
                    least[j] = reduced;
                    before[j] = at;
                }
                if least[j] < step {
                    step = least[j];
                    next = j;
                }
            }
            for j in 0..=width {
                if seen[j] {
                    of_row[owner[j]] += step;
                    of_column[j] -= step;
                } else {
                    least[j] -= step;
                }
            }
            at = next;
        }
        while at != 0 {
            owner[at] = owner[before[at]];
            at = before[at];
        }
    }
    let mut pairs = vec![None; rows];
    for j in 1..=columns {
        if owner[j] > 0 {
            pairs[owner[j] - 1] = Some(j - 1).filter(|j| price(owner[j + 1] - 1, *j) <= alone);
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_second_choice_serves_the_sum() {
        let cost = [[1.0, 2.0], [1.1, 9.0]];
        assert_eq!(assign_at_least_cost(2, 2, |i, j| cost[i][j], 20.0), vec![Some(1), Some(0)]);
        assert_eq!(assign_at_least_cost(2, 2, |i, j| cost[i][j], 1.5), vec![Some(0), None]);
        assert_eq!(assign_at_least_cost(1, 0, |_, _| 0.0, 1.0), vec![None]);
    }

    proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn no_order_of_three_is_cheaper(cost in prop::array::uniform3(prop::array::uniform3(0.0..10.0f64))) {
            let sum = |pairs: &[Option<usize>]| -> f64 {
                pairs.iter().enumerate().map(|(i, j)| j.map_or(6.0, |j| cost[i][j])).sum()
            };
            let found = sum(&assign_at_least_cost(3, 3, |i, j| cost[i][j], 6.0));
            let choices = [None, Some(0), Some(1), Some(2)];
            for a in choices {
                for b in choices {
                    for c in choices {
                        let distinct = (a.is_none() || a != b && a != c) && (b.is_none() || b != c);
                        prop_assert!(!distinct || found <= sum(&[a, b, c]) + 1e-9);
                    }
                }
            }
        }
    }
}
