//! The elimination order of the degrees of freedom that keeps the factor small.
//!
//! The graph is that of points, not of degrees of freedom: it has six times fewer vertices, and the degrees
//! of freedom of one point stay together, so that the factor consists of dense blocks. Points are ordered by
//! nested dissection, expanded to degrees of freedom and postordered along the elimination tree, which keeps
//! columns of equal pattern adjacent.
//!
//! # Source
//! - `george1973`: nested dissection
//! - `liu1990`: elimination tree and postordering

use super::dissection::by_distances;
use super::pattern::{Columns, Pattern};
use feral_metis::{CscPattern, MetisOptions, metis_order_full};

/// Least number of points for a dissection by distances.
const FEW_POINTS: usize = 256;

/// A dissection by distances is trusted when the graph reaches farther than this times the cube root
/// of its number of points.
const FAR: f64 = 2.0;

/// Work of the factor, for each edge of the graph, that justifies one more try.
const WORK_PER_TRY: f64 = 5e5;

/// Largest number of tries beyond the first.
const MOST_TRIES: f64 = 7.0;

/// The degrees of freedom of `pattern` in their elimination order: new position to old degree of freedom.
/// Without a `group` each is a point of its own.
pub(super) fn eliminate(pattern: &impl Columns, group: &[usize]) -> Vec<usize> {
    let members = match group.is_empty() {
        true => (0..pattern.len()).map(|i| vec![i]).collect(),
        false => dofs_by_point(group),
    };
    let per_point = pattern.len() as f64 / members.len().max(1) as f64;
    let points = dissect(&point_graph(pattern, &members), per_point);
    let order: Vec<usize> = points.iter().flat_map(|&p| members[p].iter().copied()).collect();
    let tree = elimination_tree(pattern, &order);
    postorder(&tree).into_iter().map(|place| order[place]).collect()
}

/// Degrees of freedom of each point, points in the order of their labels.
fn dofs_by_point(group: &[usize]) -> Vec<Vec<usize>> {
    let mut sorted: Vec<usize> = (0..group.len()).collect();
    sorted.sort_by_key(|&i| (group[i], i));
    let mut members: Vec<Vec<usize>> = Vec::new();
    let mut last = None;
    for i in sorted {
        if last != Some(group[i]) {
            members.push(Vec::new());
            last = Some(group[i]);
        }
        if let Some(point) = members.last_mut() {
            point.push(i);
        }
    }
    members
}

/// The graph of the points, which are adjacent when any of their degrees of freedom are.
fn point_graph(pattern: &impl Columns, members: &[Vec<usize>]) -> Pattern {
    let mut point_of = vec![0; pattern.len()];
    for (p, dofs) in members.iter().enumerate() {
        for &i in dofs {
            point_of[i] = p;
        }
    }
    let mut graph = Pattern { starts: vec![0], rows: Vec::new() };
    let mut seen_by = vec![usize::MAX; members.len()];
    for (p, dofs) in members.iter().enumerate() {
        seen_by[p] = p;
        let start = graph.rows.len();
        for &i in dofs {
            for &j in pattern.column(i) {
                let q = point_of[j];
                if seen_by[q] != p {
                    seen_by[q] = p;
                    graph.rows.push(q);
                }
            }
        }
        graph.rows[start..].sort_unstable();
        graph.starts.push(graph.rows.len());
    }
    graph
}

/// Nested dissection of a graph; the given order where the graph is too large for 32-bit indices.
///
/// For few points distances are not worth measuring, and in a graph that does not reach far they may fail.
/// Then a multilevel partition is tried. It starts at random and its work varies by a quarter, so a large
/// factor is worth several tries.
fn dissect(graph: &Pattern, dofs_per_point: f64) -> Vec<usize> {
    let points = graph.len();
    let mut best = None;
    if points >= FEW_POINTS
        && let Some(found) = by_distances(graph)
    {
        if f64::from(found.reach) > FAR * (points as f64).cbrt() {
            return found.order;
        }
        best = Some((work(graph, &found.order), found.order));
    }
    let (mut seed, mut tries) = (0, 1);
    while seed < tries {
        seed += 1;
        let Some(order) = dissect_once(graph, seed) else { continue };
        let found = work(graph, &order);
        if best.as_ref().is_none_or(|(least, _)| found < *least) {
            best = Some((found, order));
        }
        if let (1, Some((least, _))) = (seed, &best) {
            let worth = least * dofs_per_point.powi(3) / (WORK_PER_TRY * (graph.rows.len() + 1) as f64);
            tries += worth.min(MOST_TRIES) as u64;
        }
    }
    best.map_or_else(|| (0..points).collect(), |(_, order)| order)
}

fn dissect_once(graph: &Pattern, seed: u64) -> Option<Vec<usize>> {
    let n = graph.len();
    let narrow = |list: &[usize]| list.iter().map(|&i| i32::try_from(i).ok()).collect::<Option<Vec<i32>>>();
    let (starts, rows) = (narrow(&graph.starts)?, narrow(&graph.rows)?);
    let options = MetisOptions { seed, ..MetisOptions::default() };
    let (order, _, _) = metis_order_full(&CscPattern::new(n, &starts, &rows)?, &options).ok()?;
    let order = order.into_iter().map(|i| usize::try_from(i).ok()).collect::<Option<Vec<usize>>>()?;
    is_permutation(&order, n).then_some(order)
}

/// Multiplications of the factorisation in `order`: the sum of squares of its column lengths.
fn work(pattern: &Pattern, order: &[usize]) -> f64 {
    let n = order.len();
    let tree = elimination_tree(pattern, order);
    let mut place = vec![0; n];
    for (new, &old) in order.iter().enumerate() {
        place[old] = new;
    }
    // Row j of the factor is the part of the tree below j that the entries of row j in the matrix reach.
    let mut mark = vec![usize::MAX; n];
    let mut length = vec![1.0_f64; n];
    for (j, &old) in order.iter().enumerate() {
        mark[j] = j;
        for &i in pattern.column(old) {
            let mut at = place[i];
            while at < j && mark[at] != j {
                mark[at] = j;
                length[at] += 1.0;
                let Some(up) = tree[at] else { break };
                at = up;
            }
        }
    }
    length.iter().map(|l| l * l).sum()
}

fn is_permutation(order: &[usize], n: usize) -> bool {
    let mut seen = vec![false; n];
    order.len() == n && order.iter().all(|&i| i < n && !std::mem::replace(&mut seen[i], true))
}

/// Parent of each position in the elimination tree of the pattern taken in `order`.
fn elimination_tree(pattern: &impl Columns, order: &[usize]) -> Vec<Option<usize>> {
    let n = order.len();
    let mut place = vec![0; n];
    for (new, &old) in order.iter().enumerate() {
        place[old] = new;
    }
    let mut parent = vec![None; n];
    let mut ancestor: Vec<Option<usize>> = vec![None; n];
    for (j, &old) in order.iter().enumerate() {
        for &i in pattern.column(old) {
            let mut at = place[i];
            while at < j {
                match ancestor[at].replace(j) {
                    None => {
                        parent[at] = Some(j);
                        break;
                    }
                    Some(next) => at = next,
                }
            }
        }
    }
    parent
}

/// The positions of a forest, ordered so that the descendants of each come directly before it.
fn postorder(parent: &[Option<usize>]) -> Vec<usize> {
    let n = parent.len();
    // A list of children for each position; `n` stands for the root above all roots.
    let mut first = vec![None; n + 1];
    let mut sibling = vec![None; n];
    for i in (0..n).rev() {
        let above = parent[i].unwrap_or(n);
        sibling[i] = first[above].replace(i);
    }
    let mut order = Vec::with_capacity(n);
    let mut stack: Vec<usize> = Vec::new();
    let mut next = first[n];
    loop {
        while let Some(i) = next {
            stack.push(i);
            next = first[i];
        }
        let Some(done) = stack.pop() else { return order };
        order.push(done);
        next = sibling[done];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square grid of `side * side` points with `per` degrees of freedom each, all
    /// those of neighbours joined.
    fn grid(side: usize, per: usize) -> (Pattern, Vec<usize>) {
        let mut pattern = Pattern { starts: vec![0], rows: Vec::new() };
        let near = |a: usize, b: usize| (a / side).abs_diff(b / side) + (a % side).abs_diff(b % side) <= 1;
        let points = side * side;
        for j in 0..points * per {
            pattern.rows.extend((0..points * per).filter(|i| near(i / per, j / per)));
            pattern.starts.push(pattern.rows.len());
        }
        (pattern, (0..points * per).map(|i| i / per).collect())
    }

    #[test]
    fn order_is_a_permutation_and_postordered() {
        let (pattern, group) = grid(9, 2);
        let order = eliminate(&pattern, &group);
        assert!(is_permutation(&order, 162));
        let tree = elimination_tree(&pattern, &order);
        assert_eq!(postorder(&tree), (0..162).collect::<Vec<_>>());
    }

    #[test]
    fn dissection_costs_less_work_than_the_natural_order() {
        let (pattern, group) = grid(24, 1);
        let natural: Vec<usize> = (0..576).collect();
        assert!(work(&pattern, &eliminate(&pattern, &group)) < 0.5 * work(&pattern, &natural));
    }

    #[test]
    fn separate_points_and_odd_labels_are_ordered_too() {
        let pattern = Pattern { starts: (0..=5).collect(), rows: (0..5).collect() };
        let order = eliminate(&pattern, &[7, 7, usize::MAX, 3, 3]);
        assert!(is_permutation(&order, 5));
        assert!(eliminate(&Pattern { starts: vec![0], rows: vec![] }, &[]).is_empty());
    }
}
