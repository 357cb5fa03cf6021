//! The solid of a joint of tubes with its ends held, and how the brace's end moves under forces there.

use crate::assembly::{Assembly, Elastic, Matrices};
use crate::mesh::Mesh;
use crate::tube_joint::{TubeJoint, Way};
use faer::Mat;
use nalgebra::{DMatrix, Vector3};
use stillbed_eigen::{EigenFault, HeldStiffness};

/// Places that are equal, in parts of the chord's length.
const SLACK: f64 = 1e-9;

/// The part of a joint on one side of its mirror planes, prepared for all ways that share its grid: the ends are
/// held, and nothing else.
pub(crate) struct WallGrid<'s> {
    joint: &'s TubeJoint,
    /// From the middle of the joint to the chord's held ends, and from its face to the brace's, m.
    pub extent: [f64; 2],
    assembly: Assembly<'s>,
    materials: [Elastic; 3],
    /// By degree of freedom, three a node: its number among those that are free.
    free: Vec<Option<usize>>,
    stiffness: HeldStiffness,
}

impl<'s> WallGrid<'s> {
    pub fn new(joint: &'s TubeJoint, mesh: &'s Mesh, extent: [f64; 2]) -> Result<WallGrid<'s>, EigenFault> {
        let materials =
            [joint.metal, joint.chord_fill.unwrap_or(joint.metal), joint.brace_fill.unwrap_or(joint.metal)];
        let assembly = Assembly::new(mesh);
        let [length, stub] = extent;
        let (slack, top) = (SLACK * length, 0.5 * joint.chord.height + stub);
        let held = (0..mesh.nodes()).flat_map(|node| {
            let at = mesh.position(node);
            [(at[0] - length).abs() < slack || (at[2] - top).abs() < slack; 3]
        });
        let held: Vec<bool> = held.collect();
        let Matrices { stiffness, group, free, .. } = assembly.stiffness(&materials, &held);
        let stiffness = HeldStiffness::new(&stiffness, &group)?;
        Ok(WallGrid { joint, extent, assembly, materials, free, stiffness })
    }

    /// Gives back what is kept for further ways.
    pub fn release(&self) {
        self.stiffness.release();
    }

    fn lies_at(&self, at: f64, place: f64) -> bool {
        (at - place).abs() < SLACK * self.extent[0]
    }

    /// What the mirror planes hold of the free degrees of freedom, for motions one `way`.
    fn mirrored(&self, way: Way) -> Vec<bool> {
        let mesh = self.assembly.mesh;
        let mirrors = way.even(self.joint.end);
        let mut held = vec![false; self.free.iter().flatten().count()];
        for node in 0..mesh.nodes() {
            let at = mesh.position(node);
            let mut hold = |axis: usize| {
                if let Some(dof) = self.free[3 * node + axis] {
                    held[dof] = true;
                }
            };
            for (axis, even) in mirrors.into_iter().enumerate() {
                if let Some(even) = even.filter(|_| self.lies_at(at[axis], 0.0)) {
                    (0..3).filter(|i| (*i == axis) == even).for_each(&mut hold);
                }
            }
            if self.joint.opposite && self.lies_at(at[2], 0.0) {
                hold(2);
            }
        }
        held
    }

    /// The degree of freedom along the brace in the middle of the chord's side wall, if it is free.
    fn side_wall(&self) -> Option<usize> {
        let (mesh, side) = (self.assembly.mesh, 0.5 * self.joint.chord.width);
        let node = (0..mesh.nodes()).find(|node| {
            let at = mesh.position(*node);
            self.lies_at(at[0], 0.0) && self.lies_at(at[1], side) && self.lies_at(at[2], 0.0)
        });
        self.free[3 * node? + 2]
    }

    /// The motions of the brace's end, of shape (3 nodes, motions).
    fn moved(&self, way: Way) -> Mat<f64> {
        let mesh = self.assembly.mesh;
        let all = way.motions(self.joint.end);
        let top = 0.5 * self.joint.chord.height + self.extent[1];
        let mut moved = Mat::zeros(3 * mesh.nodes(), all.len());
        for node in 0..mesh.nodes() {
            let at = mesh.position(node);
            if self.lies_at(at[2], top) {
                let arm = Vector3::new(at[0], at[1], 0.0);
                for (k, [shift, turn]) in all.iter().enumerate() {
                    let motion = shift + turn.cross(&arm);
                    (0..3).for_each(|i| moved[(3 * node + i, k)] = motion[i]);
                }
            }
        }
        moved
    }

    /// Motions of the brace's end, as one piece, under the forces and moments there, of the whole joint, and how they
    /// change with the logarithm of the fill's modulus. A push alone counts from the middle of the chord's side walls.
    ///
    /// ```text
    /// K = uᵀ K u,   dK = uᵀ K_fill u,   d(1/K) = -(1/K) dK (1/K)        u the motions of all under those of the end
    /// ```
    pub fn flexibility(&self, way: Way) -> Result<[DMatrix<f64>; 2], EigenFault> {
        let held = self.mirrored(way);
        let mut motion = self.moved(way);
        let motions = motion.ncols();
        // Loads on what is free and not held.
        let loads_of = |forces: &Mat<f64>, columns: usize| {
            let mut loads = Mat::<f64>::zeros(held.len(), columns);
            for (dof, number) in self.free.iter().enumerate() {
                if let Some(number) = number.filter(|number| !held[*number]) {
                    (0..forces.ncols()).for_each(|k| loads[(number, k)] = -forces[(dof, k)]);
                }
            }
            loads
        };
        let beside = if way == Way::Push { self.side_wall() } else { None };
        let forces = self.assembly.forces(&self.materials, motion.as_ref());
        let mut loads = loads_of(&forces, motions + usize::from(beside.is_some()));
        if let Some(dof) = beside {
            loads[(dof, motions)] = 1.0;
        }
        let answer = self.stiffness.solve(&held, &loads.into())?.as_faer().to_owned();
        for (dof, number) in self.free.iter().enumerate() {
            if let Some(number) = number {
                (0..motions).for_each(|k| motion[(dof, k)] += answer[(*number, k)]);
            }
        }
        let stiffness = |materials: &[Elastic; 3]| {
            let forces = self.assembly.forces(materials, motion.as_ref());
            let whole = self.joint.copies() * (motion.transpose() * &forces);
            (DMatrix::from_fn(motions, motions, |i, j| whole[(i, j)]), forces)
        };
        let (whole, _) = stiffness(&self.materials);
        let flexibility = whole.try_inverse().unwrap_or_else(|| DMatrix::zeros(motions, motions));
        let nothing = Elastic { lambda: 0.0, mu: 0.0, density: 0.0 };
        let (of_fill, pulled) = match self.joint.chord_fill.or(self.joint.brace_fill) {
            Some(_) => {
                let fills =
                    [self.joint.chord_fill, self.joint.brace_fill].map(|fill| fill.unwrap_or(nothing));
                stiffness(&[nothing, fills[0], fills[1]])
            }
            None => (DMatrix::zeros(motions, motions), Mat::zeros(motion.nrows(), motions)),
        };
        let slope = -(&flexibility * of_fill * &flexibility);
        let Some(dof) = beside else { return Ok([flexibility, slope]) };
        let sunk = answer[(dof, 0)];
        let more = loads_of(&pulled, motions);
        let sinks: f64 = (0..held.len()).map(|k| answer[(k, motions)] * more[(k, 0)]).sum();
        Ok([&flexibility * (1.0 - sunk), slope * (1.0 - sunk) - flexibility * sinks])
    }
}
