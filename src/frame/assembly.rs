//! The matrices of a divided frame.
//!
//! The end of an element moves as a linear combination of degrees of freedom: an inner node as it stands, a
//! member's end as its point on a rigid arm, which reaches to where the member begins to deform, plus the relative
//! motions of a sprung joint:
//!
//! ```text
//! d_end = arm(offset) d_point + Σ e_j q_j
//! ```
//!
//! Stiffness and mass of the element follow as TᵀKT and TᵀMT. Joint springs go on the diagonal of their q,
//! feet on that of their point.
//!
//! # Source
//! - `przemieniecki1968`: ch. 5 (stiffness of a beam), ch. 11 (consistent mass)

use super::axes::{Line, arm};
use super::layout::{Coupling, Layout};
use super::model::{Displaced, Foot, Frame, Mass, Member};
use super::piece::{Complex12, GAUSS_2, Matrix12, Piece, Vector12};
use faer::sparse::SparseColMat;
use nalgebra::{Matrix6, Vector3, Vector6};
use num_complex::Complex64;
use std::sync::Arc;
use stillbed_eigen::Sparse;

/// Relative difference of lengths below which elements of one section are shared.
const ALIKE: f64 = 1e-12;

/// Stiffness and mass of a divided frame: symmetric, both triangles stored, one sparsity pattern.
#[derive(Debug, Clone)]
pub struct Matrices {
    /// Real part of the stiffness, shape (n, n): N/m, N, N m.
    pub stiffness: Sparse,
    /// Imaginary part of the stiffness, same units: the energy lost per radian.
    pub loss: Sparse,
    /// Mass, kg, kg m, kg m2.
    pub mass: Sparse,
}

/// A member's line and element.
pub(super) struct Bar {
    pub(super) line: Line,
    /// All its elements are equal, and equal to those of other members with the same
    /// section and element length.
    pub(super) piece: Arc<Piece>,
}

impl Bar {
    /// The mass taken off its `count` elements where other members keep material of `member`, less that of its rigid
    /// ends: index of the element and a matrix in member axes.
    pub(super) fn taken_off(&self, member: &Member, count: usize) -> Option<Vec<(usize, Matrix12)>> {
        let taken = |(piece, stretches): (usize, Vec<Displaced>)| {
            let mut sum = Matrix12::zeros();
            for own in stretches {
                sum += self.piece.mass_between(own.from, own.to, &own.mass)?;
            }
            Some((piece, sum))
        };
        let ends = [(0, 0), (1, count - 1)].into_iter().filter(|(end, _)| member.rigid[*end] > 0.0);
        let rigid = ends.map(|(end, piece)| Some((piece, -self.rigid_end(member, end))));
        self.stretches(member, count).map(taken).chain(rigid).collect()
    }

    /// The mass of the rigid end (0 or 1) of `member`, at the end of its first or last element, member axes.
    fn rigid_end(&self, member: &Member, end: usize) -> Matrix12 {
        let [first, last] = member.rigid;
        // From the end of what deforms, along the member.
        let (from, to, zero) = match end {
            0 => (-first, 0.0, first),
            _ => (0.0, last, first + self.line.length),
        };
        let own = (from, to, *self.piece.line_mass());
        let taken = member.displaced.iter().map(|taken| {
            let [a, b] = [taken.from - zero, taken.to - zero].map(|x| x.clamp(from, to));
            (a, b, -taken.mass)
        });
        let mut sum = Matrix6::zeros();
        for (from, to, mass) in std::iter::once(own).chain(taken).filter(|(from, to, _)| from < to) {
            // Quadratic in the place, so two Gauss points are exact.
            for (place, weight) in GAUSS_2 {
                let reach = arm(&Vector3::new(from + place * (to - from), 0.0, 0.0));
                sum += weight * (to - from) * (reach.transpose() * mass * reach);
            }
        }
        let mut matrix = Matrix12::zeros();
        matrix.fixed_view_mut::<6, 6>(6 * end, 6 * end).copy_from(&sum);
        matrix
    }

    /// The part of the bulge matrix that is lost with that mass, in the same form.
    pub(super) fn bulge_lost(&self, member: &Member, count: usize) -> Option<Vec<(usize, Matrix12)>> {
        self.stretches(member, count)
            .map(|(piece, own)| Some((piece, self.piece.bulge_lost(&own)?)))
            .collect()
    }

    /// The elements of which other members keep material, and where, from the first end of the element.
    fn stretches<'b>(
        &self,
        member: &'b Member,
        count: usize,
    ) -> impl Iterator<Item = (usize, Vec<Displaced>)> + 'b {
        let length = self.line.length / count as f64;
        let within = move |piece: usize| {
            let start = member.rigid[0] + length * piece as f64;
            let own = member.displaced.iter().filter_map(|stretch| {
                let (from, to) = ((stretch.from - start).max(0.0), (stretch.to - start).min(length));
                (from < to).then_some(Displaced { from, to, mass: stretch.mass })
            });
            (piece, own.collect::<Vec<Displaced>>())
        };
        let pieces = if member.displaced.is_empty() { 0 } else { count };
        (0..pieces).map(within).filter(|(_, own)| !own.is_empty())
    }

    /// Real and imaginary stiffness and mass of one of its elements, global axes.
    pub(super) fn parts(&self) -> Option<[Matrix12; 3]> {
        let stiffness = turned_complex(&self.piece.stiffness(), &self.line);
        let mass = turned(self.piece.mass()?, &self.line);
        Some([stiffness.map(|k| k.re), stiffness.map(|k| k.im), mass])
    }
}

/// The line and the element of every member; `None` for a frame that has faults or does not fit.
pub(super) fn bars(frame: &Frame, layout: &Layout) -> Option<Vec<Bar>> {
    layout.fits(frame).then_some(())?;
    let mut known: Vec<(usize, f64, Arc<Piece>)> = Vec::new();
    let made = |(member, count): (&Member, &usize)| {
        let line = Line::of(frame, member)?;
        let length = line.length / *count as f64;
        let alike = |(section, own, _): &&(usize, f64, Arc<Piece>)| {
            *section == member.section && (own - length).abs() <= ALIKE * length
        };
        if let Some((.., piece)) = known.iter().find(alike) {
            return Some(Bar { line, piece: Arc::clone(piece) });
        }
        let bar = bar(frame, member, *count)?;
        known.push((member.section, length, Arc::clone(&bar.piece)));
        Some(bar)
    };
    frame.members.iter().zip(&layout.pieces).map(made).collect()
}

/// The line of `member` and one of its `count` elements.
pub(super) fn bar(frame: &Frame, member: &Member, count: usize) -> Option<Bar> {
    let line = Line::of(frame, member)?;
    let piece = Piece::new(frame.sections.get(member.section)?, line.length / count as f64)?;
    Some(Bar { line, piece: Arc::new(piece) })
}

impl Layout {
    /// The matrices of `frame` in this layout.
    ///
    /// `None` when `frame` does not fit.
    pub fn matrices(&self, frame: &Frame) -> Option<Matrices> {
        self.matrices_of(frame, &bars(frame, self)?)
    }

    /// The matrices of `frame` and its bulge matrix, as [`Layout::matrices`] and [`Layout::bulge`].
    pub fn matrices_and_bulge(&self, frame: &Frame) -> Option<(Matrices, Sparse)> {
        let bars = bars(frame, self)?;
        Some((self.matrices_of(frame, &bars)?, self.bulge_of(frame, &bars)?))
    }

    fn matrices_of(&self, frame: &Frame, bars: &[Bar]) -> Option<Matrices> {
        let stored = self.pattern.row_idx().len();
        let mut values = [vec![0.0; stored], vec![0.0; stored], vec![0.0; stored]];
        for (number, bar) in bars.iter().enumerate() {
            self.add_pieces(&mut values, &bar.parts()?, frame, number, &bar.line);
            let taken = bar.taken_off(&frame.members[number], self.pieces[number])?;
            self.take_off(&mut values[2], frame, number, &bar.line, &taken);
        }
        self.add_carried(&mut values, frame)?;
        let [stiffness, loss, mass] = values.map(|values| self.in_pattern(values));
        Some(Matrices { stiffness, loss, mass })
    }

    /// The matrix with these values in the sparsity pattern.
    pub(super) fn in_pattern(&self, values: Vec<f64>) -> Sparse {
        SparseColMat::new(self.pattern.clone(), values).into()
    }

    /// Adds the contributions of joints, masses and feet.
    pub(super) fn add_carried(&self, values: &mut [Vec<f64>], frame: &Frame) -> Option<()> {
        for (number, member) in frame.members.iter().enumerate() {
            for end in 0..2 {
                let Some(joint) = member.joint(end).and_then(|j| frame.joints.get(j)) else { continue };
                for (dof, spring) in self.joints[number][end].iter().zip(&joint.stiffness) {
                    if let (Some(dof), Some(spring)) = (dof, spring) {
                        self.add_spring(values, *dof, *spring);
                    }
                }
            }
        }
        for (body, own) in frame.bodies.iter().zip(&self.bodies) {
            for (joint, (_, dofs)) in body.joints.iter().zip(&own.joints) {
                for (dof, spring) in dofs.iter().zip(&frame.joints.get(joint.joint)?.stiffness) {
                    if let (Some(dof), Some(spring)) = (dof, spring) {
                        self.add_spring(values, *dof, *spring);
                    }
                }
            }
        }
        for (mass, coupling) in frame.masses.iter().zip(self.mass_couplings()) {
            let held = self.points.get(mass.at)?;
            let own: Vec<usize> = (0..6).filter(|j| held[*j].is_some()).collect();
            let reach = self.reach(mass.at);
            let full = reach.transpose() * mass.at_point() * reach;
            let block: Vec<f64> = own.iter().flat_map(|j| own.iter().map(move |i| full[(*i, *j)])).collect();
            add(&mut values[2], &coupling.slots, &block);
        }
        self.add_bodies(values, frame);
        let mut hung = self.hung_foot_couplings().iter();
        for foot in &frame.feet {
            for &point in &foot.at {
                if self.hung.get(point)?.is_some() {
                    self.add_hung_foot(values, foot, point, hung.next()?);
                    continue;
                }
                for (dof, spring) in self.points.get(point)?.iter().zip(foot.six()) {
                    if let Some(dof) = dof {
                        self.add_spring(values, *dof, spring);
                    }
                }
            }
        }
        Some(())
    }

    /// Adds the springs of a foot at a point that follows another.
    fn add_hung_foot(&self, values: &mut [Vec<f64>], foot: &Foot, point: usize, coupling: &Coupling) {
        let reach = self.reach(point);
        let own: Vec<usize> = (0..6).filter(|j| self.points[point][*j].is_some()).collect();
        for (values, part) in values.iter_mut().zip([|k: Complex64| k.re, |k: Complex64| k.im]) {
            let springs = Matrix6::from_diagonal(&Vector6::from(foot.six().map(part)));
            let full = reach.transpose() * springs * reach;
            let block: Vec<f64> = own.iter().flat_map(|j| own.iter().map(move |i| full[(*i, *j)])).collect();
            add(values, &coupling.slots, &block);
        }
    }

    /// The bulge matrix G in the pattern of the other matrices, kg s2, kg m s2, kg m2 s2.
    ///
    /// `K - ω² M - ω⁴ G` is the dynamic stiffness of the divided frame to the next order. With it, a response
    /// peaks at the frequencies of the corrected modes.
    pub fn bulge(&self, frame: &Frame) -> Option<Sparse> {
        self.bulge_of(frame, &bars(frame, self)?)
    }

    fn bulge_of(&self, frame: &Frame, bars: &[Bar]) -> Option<Sparse> {
        let mut values = [vec![0.0; self.pattern.row_idx().len()]];
        for (number, bar) in bars.iter().enumerate() {
            let bulge = turned(bar.piece.bulge()?, &bar.line);
            self.add_pieces(&mut values, &[bulge], frame, number, &bar.line);
            let lost = bar.bulge_lost(&frame.members[number], self.pieces[number])?;
            self.take_off(&mut values[0], frame, number, &bar.line, &lost);
        }
        let [values] = values;
        Some(self.in_pattern(values))
    }

    /// Adds the matrices of all elements of a member, given in global axes.
    pub(super) fn add_pieces(
        &self,
        values: &mut [Vec<f64>],
        parts: &[Matrix12],
        frame: &Frame,
        number: usize,
        line: &Line,
    ) {
        let first = self.first_piece(number);
        for (piece, coupling) in self.couplings[first..].iter().take(self.pieces[number]).enumerate() {
            let plain = [0, 1].iter().all(|end| self.is_plain(&frame.members[number], number, piece, *end));
            let columns = if plain { Vec::new() } else { self.columns(frame, number, piece, line) };
            for (values, part) in values.iter_mut().zip(parts) {
                if plain {
                    add(values, &coupling.slots, part.as_slice());
                } else {
                    add(values, &coupling.slots, &combined(part, &columns));
                }
            }
        }
    }

    /// Subtracts what elements of a member lack: their indices and matrices in member axes.
    pub(super) fn take_off(
        &self,
        values: &mut [f64],
        frame: &Frame,
        number: usize,
        line: &Line,
        lacking: &[(usize, Matrix12)],
    ) {
        let first = self.first_piece(number);
        for (piece, matrix) in lacking {
            let columns = self.columns(frame, number, *piece, line);
            let taken = combined(&turned(&-matrix, line), &columns);
            add(values, &self.couplings[first + piece].slots, &taken);
        }
    }

    /// True when the end of an element moves as six degrees of freedom do: an inner node, or a point that
    /// nothing holds, without offset and joint.
    fn is_plain(&self, member: &Member, number: usize, piece: usize, end: usize) -> bool {
        let at_point = || {
            member.offset == Vector3::zeros()
                && member.rigid[end] == 0.0
                && self.hung[member.point(end)].is_none()
                && self.points[member.point(end)].iter().all(Option::is_some)
                && self.joints[number][end].iter().all(Option::is_none)
        };
        self.is_inner(number, piece, end) || at_point()
    }

    fn add_spring(&self, values: &mut [Vec<f64>], dof: usize, spring: Complex64) {
        let slot = self.diagonal[dof];
        values[0][slot] += spring.re;
        values[1][slot] += spring.im;
    }

    /// The twelve end motions of an element for a unit of each degree of freedom that it couples, in global
    /// axes and in the order of the coupling.
    pub(super) fn columns(&self, frame: &Frame, number: usize, piece: usize, line: &Line) -> Vec<Vector12> {
        let member = &frame.members[number];
        let mut columns = Vec::with_capacity(24);
        for end in 0..2 {
            let arm = arm(&self.offset(member, end, line));
            let mut push = |motion: Vector6<f64>| {
                let mut column = Vector12::zeros();
                column.fixed_rows_mut::<6>(6 * end).copy_from(&motion);
                columns.push(column);
            };
            if self.is_inner(number, piece, end) {
                for j in 0..6 {
                    push(Matrix6::identity().column(j).into());
                }
                continue;
            }
            for (j, dof) in self.points[member.point(end)].iter().enumerate() {
                if dof.is_some() {
                    push(arm.column(j).into());
                }
            }
            for (j, dof) in self.joints[number][end].iter().enumerate() {
                if let (Some(_), Some(joint)) = (dof, member.joint(end).and_then(|j| frame.joints.get(j))) {
                    let own = joint.motion(j, end);
                    let mut motion = Vector6::zeros();
                    for half in [0, 3] {
                        let turned = line.axes.transpose() * own.fixed_rows::<3>(half);
                        motion.fixed_rows_mut::<3>(half).copy_from(&turned);
                    }
                    push(motion);
                }
            }
        }
        columns
    }

    /// The twelve end motions of an element in member axes for the `motion` of the degrees of freedom.
    pub(super) fn end_motions(
        &self,
        frame: &Frame,
        number: usize,
        piece: usize,
        line: &Line,
        motion: &[f64],
    ) -> Vector12 {
        let member = &frame.members[number];
        let mut own = Vector12::zeros();
        for end in 0..2 {
            let (mut moved, mut turned) = self.end_motion(member, number, piece, (end, line), motion);
            moved = line.axes * moved;
            turned = line.axes * turned;
            let joint = member.joint(end).and_then(|j| frame.joints.get(j));
            if let Some(joint) = joint.filter(|_| !self.is_inner(number, piece, end)) {
                for (j, dof) in self.joints[number][end].iter().enumerate() {
                    let Some(dof) = dof else { continue };
                    let relative = joint.motion(j, end) * motion[*dof];
                    moved += relative.fixed_rows::<3>(0);
                    turned += relative.fixed_rows::<3>(3);
                }
            }
            own.fixed_rows_mut::<3>(6 * end).copy_from(&moved);
            own.fixed_rows_mut::<3>(6 * end + 3).copy_from(&turned);
        }
        own
    }

    /// Displacement and rotation of an element's end in global axes, without the
    /// relative motion of the joint.
    fn end_motion(
        &self,
        member: &Member,
        number: usize,
        piece: usize,
        (end, line): (usize, &Line),
        motion: &[f64],
    ) -> (Vector3<f64>, Vector3<f64>) {
        if let Some(range) = self.inner_place(number, piece, end) {
            let six = &motion[range];
            return (Vector3::from_column_slice(&six[..3]), Vector3::from_column_slice(&six[3..]));
        }
        let six = self.points[member.point(end)].map(|f| f.map_or(0.0, |f| motion[f]));
        let turned = Vector3::from_column_slice(&six[3..]);
        (Vector3::from_column_slice(&six[..3]) + turned.cross(&self.offset(member, end, line)), turned)
    }

    /// From the point that moves the end of a member to where it begins to deform, m.
    fn offset(&self, member: &Member, end: usize, line: &Line) -> Vector3<f64> {
        let mut offset = member.offset;
        if member.rigid[end] > 0.0 {
            let inward = if end == 0 { member.rigid[0] } else { -member.rigid[1] };
            offset += line.axes.row(0).transpose() * inward;
        }
        self.hung[member.point(end)].map_or(offset, |hung| offset + hung.arm)
    }
}

impl Mass {
    /// The 6x6 mass matrix about its point, global axes.
    pub(super) fn at_point(&self) -> Matrix6<f64> {
        let mut own = Matrix6::from_diagonal_element(self.mass);
        for j in 0..3 {
            own[(3 + j, 3 + j)] = self.inertia[j];
        }
        let arm = arm(&self.offset);
        arm.transpose() * own * arm
    }
}

fn add(values: &mut [f64], slots: &[u32], entries: &[f64]) {
    for (slot, entry) in slots.iter().zip(entries) {
        values[*slot as usize] += entry;
    }
}

/// TᵀMT from the columns of T; column after column.
fn combined(matrix: &Matrix12, columns: &[Vector12]) -> Vec<f64> {
    let mut entries = Vec::with_capacity(columns.len() * columns.len());
    for right in columns {
        let product = matrix * right;
        entries.extend(columns.iter().map(|left| left.dot(&product)));
    }
    entries
}

/// An element's matrix turned from member to global axes.
pub(super) fn turned(matrix: &Matrix12, line: &Line) -> Matrix12 {
    let (axes, back) = (line.axes, line.axes.transpose());
    let mut global = Matrix12::zeros();
    for i in 0..4 {
        for j in 0..4 {
            let block = back * matrix.fixed_view::<3, 3>(3 * i, 3 * j) * axes;
            global.fixed_view_mut::<3, 3>(3 * i, 3 * j).copy_from(&block);
        }
    }
    global
}

fn turned_complex(matrix: &Complex12, line: &Line) -> Complex12 {
    let re = turned(&matrix.map(|x| x.re), line);
    let im = turned(&matrix.map(|x| x.im), line);
    re.zip_map(&im, Complex64::new)
}

#[cfg(test)]
mod tests {
    use super::super::model::{Joint, WallHinge};
    use super::super::sample::{cantilever, crooked};
    use super::*;
    use approx::assert_relative_eq;
    use faer::linalg::solvers::Solve;

    fn solve(matrices: &Matrices, load: &[f64]) -> Vec<f64> {
        let right = faer::Mat::from_fn(load.len(), 1, |i, _| load[i]);
        let motion = matrices.stiffness.as_faer().to_dense().partial_piv_lu().solve(&right);
        (0..load.len()).map(|i| motion[(i, 0)]).collect()
    }

    #[test]
    fn a_cantilever_bends_as_by_hand_however_divided() {
        let frame = cantilever();
        for pieces in [1, 3, 10] {
            let layout = Layout::divide(&frame, &[pieces]).unwrap();
            let matrices = layout.matrices(&frame).unwrap();
            let down = layout.at_point(1, &(-Vector6::z() * 100.0));
            let motion = solve(&matrices, &down);
            let (ei, ga) = (210e9 * 0.02f64.powi(4) / 12.0, 210e9 / 2.6 * 4e-4 * 5.0 / 6.0);
            assert_relative_eq!(
                motion[layout.dof(1, 2).unwrap()],
                -100.0 * (1.0 / (3.0 * ei) + 1.0 / ga),
                max_relative = 1e-9
            );
            assert_relative_eq!(motion[layout.dof(1, 4).unwrap()], 100.0 / (2.0 * ei), max_relative = 1e-9);
            assert_eq!(layout.dof(0, 2), None);
        }
    }

    #[test]
    fn a_joint_adds_its_own_give() {
        let mut frame = cantilever();
        let spring = Some(Complex64::new(2e3, 100.0));
        frame.joints = vec![Joint {
            name: "corner".into(),
            stiffness: [None, None, None, None, spring, None],
            wall: None,
        }];
        let layout = Layout::divide(&frame, &[2]).unwrap();
        let down = layout.at_point(1, &-Vector6::z());
        let rigid = solve(&layout.matrices(&frame).unwrap(), &down)[layout.dof(1, 2).unwrap()];
        frame.members[0].joint_from = Some(0);
        let layout = Layout::divide(&frame, &[2]).unwrap();
        let matrices = layout.matrices(&frame).unwrap();
        let down = layout.at_point(1, &-Vector6::z());
        let sprung = solve(&matrices, &down)[layout.dof(1, 2).unwrap()];
        assert_relative_eq!(sprung - rigid, -1.0 / 2e3, max_relative = 1e-9);
    }

    #[test]
    fn a_wall_turns_about_a_place_along_the_member() {
        let mut frame = cantilever();
        let spring = Some(Complex64::new(2e3, 0.0));
        let tip = |frame: &Frame, axis: usize| {
            let layout = Layout::divide(frame, &[2]).unwrap();
            let load = layout.at_point(1, &Matrix6::identity().column(axis).into());
            solve(&layout.matrices(frame).unwrap(), &load)[layout.dof(1, axis).unwrap()]
        };
        let rigid = [1, 2].map(|axis| tip(&frame, axis));
        let turns = [None, None, None, None, spring, spring];
        frame.joints = vec![Joint {
            name: "wall".into(),
            stiffness: turns,
            wall: Some(WallHinge { at: [0.2, 0.3], ..WallHinge::default() }),
        }];
        frame.members[0].joint_from = Some(0);
        for turned in [false, true] {
            if turned {
                let own = &mut frame.members[0];
                (own.from, own.to, own.joint_from, own.joint_to) = (own.to, own.from, None, Some(0));
            }
            // The arm to the tip, 1 m from the end, is shorter by the way to the hinge: about z for y, about y for z.
            assert_relative_eq!(tip(&frame, 1) - rigid[0], 0.7_f64.powi(2) / 2e3, max_relative = 1e-8);
            assert_relative_eq!(tip(&frame, 2) - rigid[1], 0.8_f64.powi(2) / 2e3, max_relative = 1e-8);
        }
        // Turned by 30°, twice as stiff about its z: a push along y turns the end about both axes of the member.
        let stiffer = Some(Complex64::new(4e3, 0.0));
        frame.joints[0].stiffness = [None, None, None, None, spring, stiffer];
        frame.joints[0].wall = Some(WallHinge { turn: 30_f64.to_radians(), ..WallHinge::default() });
        let own = &mut frame.members[0];
        (own.from, own.to, own.joint_from, own.joint_to) = (own.to, own.from, Some(0), None);
        let layout = Layout::divide(&frame, &[2]).unwrap();
        let motion = solve(&layout.matrices(&frame).unwrap(), &layout.at_point(1, &Vector6::y()));
        let [y, z] = [1, 2].map(|axis| motion[layout.dof(1, axis).unwrap()]);
        assert_relative_eq!(y - rigid[0], 0.75 / 4e3 + 0.25 / 2e3, max_relative = 1e-8);
        assert_relative_eq!(z, -0.1875_f64.sqrt() * (1.0 / 2e3 - 1.0 / 4e3), max_relative = 1e-8);
    }

    #[test]
    fn a_free_frame_moves_as_a_rigid_body_without_force() {
        let mut frame = crooked();
        frame.feet.clear();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        let matrices = layout.matrices(&frame).unwrap();
        let stiffness = matrices.stiffness.as_faer().to_dense();
        let mass = matrices.mass.as_faer().to_dense();
        let origin = Vector3::new(0.1, 0.2, 0.3);
        for axis in 0..6 {
            let motion = layout.rigid_motion(&frame, &Matrix6::identity().column(axis).into(), &origin);
            let column = faer::Col::from_fn(motion.len(), |i| motion[i]);
            let force = &stiffness * &column;
            assert!((0..motion.len()).all(|i| force[i].abs() < 1e-5), "axis {axis}");
            let inertia = layout.inertia_load(&frame, &Matrix6::identity().column(axis).into(), &origin);
            let by_matrix = &mass * &column;
            for (i, force) in inertia.unwrap().iter().enumerate() {
                assert_relative_eq!(*force, by_matrix[i], epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn both_triangles_are_stored_alike() {
        let frame = crooked();
        let layout = Layout::divide(&frame, &[2, 1, 3]).unwrap();
        let matrices = layout.matrices(&frame).unwrap();
        for matrix in [&matrices.stiffness, &matrices.loss, &matrices.mass] {
            let dense = matrix.as_faer().to_dense();
            for i in 0..layout.dofs() {
                for j in 0..i {
                    assert_relative_eq!(dense[(i, j)], dense[(j, i)], max_relative = 1e-9, epsilon = 1e-6);
                }
            }
        }
    }
}
