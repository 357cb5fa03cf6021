//! The bodies of a build: which points hold them, and each at one draw of its materials.
//!
//! A body is reduced once, when it is first needed, on two grids, and then on finer ones until the figures of its build
//! hold (`refining`); the finest one answers, and how far the one before it differs states the error. Draws change its
//! materials alone: the reduced body knows how.

use super::drawing::Drawing;
use super::shared_faces::{self, JointAt};
use super::substance::{Stores, Substance};
use nalgebra::{DMatrix, Vector3};
use num_complex::Complex64;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};
use stillbed_frame::{BodyJoint, Substructure, SubstructurePart};
use stillbed_input::problem::{Place, Problem};
use stillbed_input::quantity::{Kind, figures, show};
use stillbed_material::{Medium, Role};
use stillbed_solid::spec::{BodyPartSpec, BodySpec, StlContent};
use stillbed_solid::{
    Body, BodyFault, Elastic, FitFault, Grip, Part, Patch, PatchFault, PatchSize, Prepared, Reduced,
};

/// Fixed-interface modes of a body in each set of materials.
const MODES: usize = 32;
/// Most orders that the second grid of a body has more than the coarsest.
const MOST_FINER: usize = 3;
/// Most grids that are solved after the first two.
const MOST_REFINED: usize = 3;
/// A grid of so many nodes is solved in about a second.
const FEW_NODES: usize = 4000;
/// Factor on the stiffness of fills for which shapes are kept beside the nominal ones. The space is linear, so that it
/// serves stiffer fills as well.
const SOFTER: f64 = 0.7;

/// A body of a build.
#[derive(Debug, Clone)]
pub struct BuildBody {
    /// Its name in the design.
    pub name: String,
    /// Where it is stated.
    pub place: Place,
    /// By material of the body: the substance of the build.
    pub substances: Vec<usize>,
    /// The points that hold it, in the order of the drawing, and where their patches are stated.
    pub points: Vec<(usize, Place)>,
    /// Its joints with bodies that are drawn before it.
    joints: Vec<BodyJoint>,
    body: Body,
    /// Its grid, without a solution.
    grid: Arc<OnceLock<Result<Prepared, BodyFault>>>,
    grids: Arc<Grids>,
}

/// A body reduced on grids of rising order.
#[derive(Debug, Default)]
struct Grids {
    /// On the first two, and how many orders the second has more than the coarsest there is.
    first: OnceLock<Result<(usize, [Reduced; 2]), BodyFault>>,
    /// On grids with one order more each.
    finer: [OnceLock<Result<Reduced, BodyFault>>; MOST_REFINED],
    /// How many of those are in use.
    refined: AtomicUsize,
}

impl Grids {
    /// On the grid before the finest one and on that; `first` are the first two.
    fn finest<'g>(&'g self, first: &'g [Reduced; 2]) -> [&'g Reduced; 2] {
        let refined = self.finer.iter().take(self.refined.load(Ordering::Acquire));
        let refined = refined.filter_map(|finer| finer.get()?.as_ref().ok());
        refined.fold([&first[0], &first[1]], |[_, before], finer| [before, finer])
    }
}

/// The bodies of `drawing`, with the substances that they add to those of its sections; `sizes` are those of the
/// sections by name, across and up.
pub(super) fn resolve(
    drawing: &Drawing,
    sizes: &[(String, [f64; 2])],
    stores: &mut Stores,
    substances: &mut Vec<Substance>,
    said: &mut Vec<Problem>,
) -> Vec<BuildBody> {
    let mut bodies = Vec::new();
    let mut doubts = Vec::new();
    for (name, spec) in drawing.bodies.iter() {
        let known = said.len();
        let mut numbers: Vec<usize> = Vec::new();
        let mut parts = Vec::new();
        for part in &spec.parts {
            if let Some(stl) = part.stl.as_ref().filter(|stl| stl.content == StlContent::Unread) {
                let message = format!("\"{}\" was not read", stl.file.value);
                said.push(
                    Problem::error(stl.file.place.clone(), message)
                        .with_help("whoever reads a design from Rust supplies its files: Stated::supply"),
                );
            }
            let Some(of) = &part.of else {
                parts.extend(part.part(None));
                continue;
            };
            let Some(at) = stores.number(of, substances, said) else { continue };
            let material = (substances[at].role() != Role::Void).then(|| {
                numbers.iter().position(|own| *own == at).unwrap_or_else(|| {
                    numbers.push(at);
                    numbers.len() - 1
                })
            });
            parts.extend(part.part(material));
        }
        if said.len() > known || parts.len() < spec.parts.len() {
            continue;
        }
        doubts.extend(odd_sizes(drawing, spec, &parts));
        let body = Body { parts, patches: Vec::new() };
        bodies.push(BuildBody {
            name: name.to_string(),
            place: spec.place.clone(),
            substances: numbers,
            points: Vec::new(),
            joints: Vec::new(),
            body,
            grid: Arc::default(),
            grids: Arc::default(),
        });
    }
    said.extend(doubts);
    // Points on a body that is not there would be said to lie on none.
    if bodies.len() == drawing.bodies.len() {
        hold_all(drawing, sizes, &mut bodies, said);
    }
    bodies
}

/// The `bodies` of another drawing, with the parts and points that `drawing` has of them, of the same materials.
pub(super) fn redrawn(
    drawing: &Drawing,
    sizes: &[(String, [f64; 2])],
    bodies: &[BuildBody],
    said: &mut Vec<Problem>,
) -> Vec<BuildBody> {
    let again = |own: &BuildBody| {
        let spec = drawing.bodies.get(&own.name)?;
        let parts = spec.parts.iter().zip(&own.body.parts).map(|(part, known)| part.part(known.material));
        let body = Body { parts: parts.collect::<Option<_>>()?, patches: Vec::new() };
        Some(BuildBody {
            points: Vec::new(),
            joints: Vec::new(),
            body,
            grid: Arc::default(),
            grids: Arc::default(),
            ..own.clone()
        })
    };
    let mut found: Vec<BuildBody> = bodies.iter().filter_map(again).collect();
    if found.len() == bodies.len() {
        hold_all(drawing, sizes, &mut found, said);
    }
    found
}

/// Finds the points of all bodies, and what is wrong with them.
fn hold_all(
    drawing: &Drawing,
    sizes: &[(String, [f64; 2])],
    bodies: &mut [BuildBody],
    said: &mut Vec<Problem>,
) {
    hold(drawing, sizes, bodies, said);
    for body in bodies.iter() {
        if body.points.is_empty() && drawing.bodies.get(&body.name).is_some() {
            let message = "no point lies on it: nothing holds it and nothing sees it";
            said.push(Problem::error(body.place.clone(), message).with_help(
                "put a point on its surface and state its area, [patches] POINT = \"round 40 mm\"",
            ));
            continue;
        }
        if let Err((fault, place)) = body.check() {
            said.push(body.problem(&fault, place));
        }
    }
}

/// How many times larger than the rest of the machine a part from a file may be, and how many times smaller: a boss is
/// often small, and what is drawn in metres and read as millimetres is a thousand times off.
const ODD: [f64; 2] = [25.0, 100.0];

/// Doubts about the units of the files that parts of a body are drawn in: their sizes beside those of the rest.
fn odd_sizes(drawing: &Drawing, spec: &BodySpec, parts: &[Part]) -> Vec<Problem> {
    let nothing = [Vector3::repeat(f64::INFINITY), Vector3::repeat(f64::NEG_INFINITY)];
    let largest = |places: &mut dyn Iterator<Item = Vector3<f64>>| {
        let [low, high] = places.fold(nothing, |[low, high], place| [low.inf(&place), high.sup(&place)]);
        (high - low).max()
    };
    let doubt = |(own, stated): (usize, &BodyPartSpec)| {
        let stl = stated.stl.as_ref()?;
        let size = largest(&mut parts[own].extent().map(Vector3::from).into_iter());
        let others = parts.iter().enumerate().filter(|(other, _)| *other != own);
        let others = others.flat_map(|(_, part)| part.extent()).map(Vector3::from);
        let points = drawing.points.iter().map(|(_, point)| Vector3::from(point.position));
        let rest = largest(&mut points.chain(others));
        let odd = rest > 0.0 && (size > ODD[0] * rest || rest > ODD[1] * size);
        let [size, rest] = [size, rest].map(|size| show(size, Kind::Length));
        let message = format!("\"{}\" is {size} across, and the rest of the machine {rest}", stl.file.value);
        let help = format!("is unit = \"{}\" right? it is what one unit of the file is", stl.unit);
        odd.then(|| Problem::warning(stl.file.place.clone(), message).with_help(help))
    };
    spec.parts.iter().enumerate().filter_map(doubt).collect()
}

/// Finds the body that each point lies on. In a build without bodies the common patches hold nothing.
fn hold(drawing: &Drawing, sizes: &[(String, [f64; 2])], bodies: &mut [BuildBody], said: &mut Vec<Problem>) {
    if drawing.bodies.is_empty() {
        return;
    }
    let mut met = Vec::new();
    for (number, (name, point)) in drawing.points.iter().enumerate() {
        let at = Vector3::from(point.position);
        let stated = drawing.patches.get(name);
        let section = stated.and_then(|patch| patch.section).map(|axes| axes.map(Vector3::from));
        let faces: Vec<Result<(), PatchFault>> = bodies
            .iter()
            .map(|body| match section {
                Some(_) if body.body.encloses(&at) => Ok(()),
                _ => body.body.face(&at).map(drop),
            })
            .collect();
        let on: Vec<usize> = (0..bodies.len()).filter(|body| faces[*body].is_ok()).collect();
        let Some(first) = on.first() else {
            // A point within a body or on a skew face of it would float beside it unsaid.
            let touches = bodies.iter().any(|body| body.body.holds(&at))
                || faces.iter().any(|face| matches!(face, Err(PatchFault::Skew)));
            if stated.is_some() || touches {
                let place = stated.map_or(&point.place, |patch| &patch.place).clone();
                let fault = faces
                    .iter()
                    .filter_map(|face| face.err())
                    .min_by(|a, b| a.distance().total_cmp(&b.distance()));
                let (message, help) = fault.map_or_else(
                    || ("there is no body for it".to_string(), "add [bodies.NAME] with parts".to_string()),
                    |fault| words(&fault, name),
                );
                said.push(Problem::error(place, message).with_help(help));
            }
            continue;
        };
        let joint = JointAt::find(drawing, name, said);
        let of_joint = || joint.as_ref().and_then(JointAt::size);
        let size =
            stated.map(|patch| patch.size).or_else(of_joint).or_else(|| of_member(drawing, sizes, name));
        met.push(name);
        let Some(size) = size else {
            let message = format!(
                "it holds body \"{}\" by no area, and a point or a line carries no body",
                bodies[*first].name
            );
            said.push(
                Problem::error(point.place.clone(), message)
                    .with_help(format!("state it: [patches] {name} = \"round 40 mm\" or \"120 x 150 mm\"")),
            );
            continue;
        };
        let place = stated.map_or(&point.place, |patch| &patch.place).clone();
        if let Some(joint) = joint {
            let meet: Vec<&Body> = on.iter().map(|body| &bodies[*body].body).collect();
            if let Some(axes) = joint.axes(&meet, &at, section.map(|[normal, _]| normal), said) {
                let second = &mut bodies[on[1]];
                let point = second.points.len();
                second.joints.push(BodyJoint { point, joint: joint.number, axes });
            }
        }
        // On a face that two bodies share, the area bonds them, or the joint there.
        let grip = match section {
            Some([normal, side]) => Grip::Section { normal, side },
            None if on.len() > 1 => Grip::OnePiece,
            None => grip(drawing, name),
        };
        for body in on {
            bodies[body].points.push((number, place.clone()));
            bodies[body].body.patches.push(Patch { at, size, grip });
        }
    }
    said.extend(shared_faces::apart(drawing, &met));
}

/// How a point holds its area: as one piece where something stiff stands on it, else as its average.
fn grip(drawing: &Drawing, point: &str) -> Grip {
    let members = drawing.members.iter().any(|(_, m)| m.from.value == point || m.to.value == point);
    let arms = drawing.arms.iter().any(|(_, a)| a.from.value == point || a.to.value == point);
    let masses = drawing.masses.iter().any(|(_, mass)| mass.at.value == point);
    let anchors = drawing.anchors.iter().any(|(_, anchor)| anchor.at.iter().any(|at| at.value == point));
    if members || arms || masses || anchors { Grip::OnePiece } else { Grip::Average }
}

/// The area by which the section of a member that ends at `point` meets a body.
fn of_member(drawing: &Drawing, sizes: &[(String, [f64; 2])], point: &str) -> Option<PatchSize> {
    let ends = |from: &str, to: &str| from == point || to == point;
    let member = drawing.members.iter().find(|(_, m)| ends(&m.from.value, &m.to.value))?.1;
    let [width, height] = sizes.iter().find(|(section, _)| *section == member.section.value)?.1;
    Some(PatchSize::Rectangle(height, width))
}

impl BuildBody {
    /// What is wrong with its parts and patches, and where, as far as it shows without a solution.
    fn check(&self) -> Result<(), (BodyFault, Place)> {
        self.prepared().map(drop).map_err(|fault| {
            let fault = fault.clone();
            let place = match &fault {
                BodyFault::Patch(number, _) => self.points.get(*number).map(|(_, place)| place.clone()),
                _ => None,
            };
            (fault, place.unwrap_or_else(|| self.place.clone()))
        })
    }

    fn problem(&self, fault: &BodyFault, place: Place) -> Problem {
        let (message, help) = match fault {
            BodyFault::Fit(FitFault::Empty) => (
                "its parts leave nothing of it".to_string(),
                "give it a part of a material; later parts displace earlier ones".to_string(),
            ),
            BodyFault::Fit(FitFault::TooLarge(nodes)) => (
                format!("its grid would have {nodes} nodes, more than can be solved"),
                "draw fewer thin parts, or make slender ones members".to_string(),
            ),
            BodyFault::Patch(_, fault) => words(fault, "its point"),
            BodyFault::Apart(pieces) => (
                format!("its parts make {pieces} pieces that do not touch"),
                "let them touch or overlap, or make them bodies of their own".to_string(),
            ),
            BodyFault::Dependent => {
                (fault.to_string(), "move its points apart, or let one point do for several".to_string())
            }
            BodyFault::Eigen(fault) => (
                format!("it cannot be solved: {fault}"),
                "let its parts touch over a face, not an edge or a corner".to_string(),
            ),
        };
        Problem::error(place, message).with_help(help)
    }

    /// How many orders the finer grid has more than the coarsest: as many as a simple body can have at no cost.
    fn finer(&self) -> Result<usize, BodyFault> {
        for finer in (2..=MOST_FINER).rev() {
            if self.body.prepare(finer)?.mesh.nodes() <= FEW_NODES {
                return Ok(finer);
            }
        }
        Ok(1)
    }

    /// True once it has been reduced.
    #[cfg(test)]
    pub(super) fn is_solved(&self) -> bool {
        self.grids.first.get().is_some()
    }

    /// The sets of materials for which shapes are kept: those of `media`, and with softer fills.
    fn sets(&self, media: &[Medium]) -> Vec<Vec<Elastic>> {
        let nominal: Vec<Elastic> = self.substances.iter().map(|at| elastic(&media[*at]).0).collect();
        let fill = |at: usize| media[at].role == Role::Fill;
        let mut sets = vec![nominal.clone()];
        if self.substances.iter().any(|at| fill(*at)) && self.substances.len() > 1 {
            let own = self.substances.iter().zip(&nominal).map(|(at, own)| match fill(*at) {
                true => Elastic { lambda: own.lambda * SOFTER, mu: own.mu * SOFTER, ..*own },
                false => *own,
            });
            sets.push(own.collect());
        }
        sets
    }

    /// On the coarser and on the finer grid, reduced when it is first asked for.
    fn reduced(&self, media: &[Medium]) -> Result<[&Reduced; 2], Problem> {
        let reduce = || {
            let finer = self.finer()?;
            Ok((finer, self.body.reduced_twice(&self.sets(media), MODES, finer)?))
        };
        let first = self.grids.first.get_or_init(reduce).as_ref();
        let (_, first) = first.map_err(|fault| self.problem(fault, self.place.clone()))?;
        Ok(self.grids.finest(first))
    }

    /// Goes over to a grid of one order more, of at most so many nodes; false where there is none.
    pub(super) fn refine(&self, media: &[Medium], nodes: usize) -> bool {
        let Some(Ok((first, _))) = self.grids.first.get() else { return false };
        let refined = self.grids.refined.load(Ordering::Acquire);
        let Some(slot) = self.grids.finer.get(refined) else { return false };
        let orders = first + refined + 1;
        if !self.body.prepare(orders).is_ok_and(|grid| grid.mesh.nodes() <= nodes) {
            return false;
        }
        let solved = slot.get_or_init(|| self.body.reduced_alone(&self.sets(media), MODES, orders)).is_ok();
        if solved {
            self.grids.refined.store(refined + 1, Ordering::Release);
        }
        solved
    }

    /// The body with its shapes, on the finer grid, in `media` or those that it was first needed in.
    ///
    /// # Errors
    /// What keeps it from being solved, at its place.
    pub fn shapes(&self, media: &[Medium]) -> Result<&Reduced, Problem> {
        Ok(self.reduced(media)?[1])
    }

    /// The body in `media`, on the finer grid or on the coarser one.
    ///
    /// # Errors
    /// What keeps it from being solved, at its place.
    pub(super) fn substructure(&self, media: &[Medium], coarse: bool) -> Result<Substructure, Problem> {
        let reduced = self.reduced(media)?[usize::from(!coarse)];
        let n = reduced.coordinates();
        let mut mass = DMatrix::zeros(n, n);
        let mut about_origin = nalgebra::Matrix6::zeros();
        let mut parts = Vec::new();
        for (at, own) in self.substances.iter().zip(&reduced.materials) {
            let medium = &media[*at];
            let (_, [lambda, mu]) = elastic(medium);
            mass += &own.mass * medium.density;
            about_origin += own.rigid * medium.density;
            let stiffness = DMatrix::from_fn(n, n, |i, j| lambda * own.lambda[(i, j)] + mu * own.mu[(i, j)]);
            parts.push(SubstructurePart { of: medium.name.clone(), role: medium.role, stiffness });
        }
        Ok(Substructure {
            name: self.name.clone(),
            points: self.points.iter().map(|(point, _)| *point).collect(),
            joints: self.joints.clone(),
            inner: reduced.inner,
            parts,
            mass,
            about_origin,
        })
    }

    /// Its grid, without a solution.
    ///
    /// # Errors
    /// What is wrong with its parts, at its place.
    pub fn grid(&self) -> Result<&Prepared, Problem> {
        self.prepared().map_err(|fault| self.problem(fault, self.place.clone()))
    }

    fn prepared(&self) -> Result<&Prepared, &BodyFault> {
        self.grid.get_or_init(|| self.body.prepare(0)).as_ref()
    }

    /// Its parts; their materials are numbers of [`BuildBody::substances`].
    pub fn parts(&self) -> &[Part] {
        &self.body.parts
    }

    /// The outline of the patch of one of its points, m, and the outward normal of its face.
    pub fn outline(&self, patch: usize) -> Option<(Vec<Vector3<f64>>, Vector3<f64>)> {
        self.body.outline(patch)
    }

    /// Displacement of the place `at` on it for its coordinates in a frame, m, global axes. `None` before a model
    /// of the build was made, and where the body is not.
    pub fn motion(&self, at: &Vector3<f64>, coordinates: &[f64]) -> Option<Vector3<f64>> {
        let (_, first) = self.grids.first.get()?.as_ref().ok()?;
        self.grids.finest(first)[1].motion(at, coordinates)
    }

    /// Volume of each of its substances, m³, as `(substance, volume)`.
    ///
    /// # Errors
    /// What is wrong with its parts, at its place.
    pub fn volumes(&self) -> Result<Vec<(usize, f64)>, Problem> {
        let Prepared { mesh, .. } = self.grid()?;
        let mut sums = vec![0.0; self.substances.len()];
        for cell in &mesh.cells {
            let own = mesh.volumes(cell, sums.len());
            sums.iter_mut().zip(own).for_each(|(sum, own)| *sum += own);
        }
        Ok(self.substances.iter().copied().zip(sums).collect())
    }
}

/// A medium's real elastic constants and density, and its complex Lamé constants, Pa.
fn elastic(medium: &Medium) -> (Elastic, [Complex64; 2]) {
    let (e, mu) = (medium.youngs_modulus, medium.shear_modulus);
    let lambda = mu * (e - 2.0 * mu) / (3.0 * mu - e);
    (Elastic { lambda: lambda.re, mu: mu.re, density: medium.density }, [lambda, mu])
}

/// What is wrong with a patch, and what to do.
fn words(fault: &PatchFault, point: &str) -> (String, String) {
    match fault {
        PatchFault::OffSurface(Some(off)) => (
            format!("{point} lies {} from the nearest flat face of a body", show(*off, Kind::Length)),
            "put it on the surface; the patch is the area by which it holds the body there".to_string(),
        ),
        PatchFault::OffSurface(None) => {
            (format!("{point} lies on no body"), "put it on the surface of a body".to_string())
        }
        PatchFault::Skew => (
            format!("{point} lies on a face that is curved or oblique to the body's own axes"),
            "put it on a flat face, or add a flat pad to the body there".to_string(),
        ),
        PatchFault::Overhangs(part) => (
            format!("only {} % of its area lies on the body", figures(100.0 * part, 2)),
            "make it smaller or move its point inwards".to_string(),
        ),
        PatchFault::Meets(_) => (
            "its area meets that of another point".to_string(),
            "make one of them smaller, or let one point carry both".to_string(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use crate::Design;
    use stillbed_material::Table;

    /// What is said of two posts on a slab of 600 x 400 x 100 mm, or on a part of another `form`, with the second
    /// post from `place`.
    fn said(form: &str, place: &str) -> Vec<String> {
        let text = format!(
            r#"
            points = {{ f = "0, 0, -50 mm", p = "100, 0, 50 mm", q = "100, 0, 350 mm", r = "{place}", s = "-100, 0, 350 mm" }}
            patches.f = "round 40 mm"
            members.a = {{ from = "p", to = "q", section = "post" }}
            members.b = {{ from = "r", to = "s", section = "post" }}
            anchors.floor = {{ at = "f", hold = "all" }}
            sections.post.parts = [{{ round = "40 mm", of = "structural steel" }}]
            builds.stone.bodies.slab.parts = [{{ {form}, of = "granite" }}]
            "#
        );
        let reading = Design::read("d.toml", &text, &Table::built_in());
        reading.problems.iter().map(|problem| problem.message.clone()).collect()
    }

    #[test]
    fn posts_on_a_body_are_joined_by_it_and_take_the_areas_of_their_sections() {
        assert_eq!(said(r#"box = "600 x 400 x 100 mm""#, "-100, 0, 50 mm"), Vec::<String>::new());
    }

    #[test]
    fn a_point_on_a_face_that_two_bodies_share_bonds_them() {
        let read = |place: &str| {
            let text = format!(
                r#"
                points = {{ f = "0, 0, -50 mm", seat = "100, 0, 50 mm", top = "100, 0, 250 mm" }}
                patches = {{ f = "round 40 mm", seat = "100 x 100 mm", top = "round 40 mm" }}
                anchors.floor = {{ at = "f", hold = "all" }}
                [builds.stone.bodies]
                slab.parts = [{{ box = "600 x 400 x 100 mm", of = "granite" }}]
                block.parts = [{{ box = "100 x 100 x {place}, of = "granite" }}]
                "#
            );
            Design::read("d.toml", &text, &Table::built_in())
        };
        let joined = read(r#"200 mm", at = "100, 0, 150 mm""#);
        assert_eq!(joined.problems, []);
        let design = joined.design.unwrap();
        assert!(design.builds[0].bodies.iter().all(|body| body.points.iter().any(|(point, _)| *point == 1)));
        let apart = read(r#"180 mm", at = "100, 0, 160 mm""#);
        let said: Vec<String> = apart.problems.iter().map(|problem| problem.message.clone()).collect();
        let expected =
            "nothing joins the part at \"top\" (1 points) to the part at \"f\": the base is in 2 parts";
        assert_eq!(said, [expected]);
    }

    #[test]
    fn a_post_that_ends_within_a_body_or_on_a_curved_face_is_refused() {
        let within = said(r#"box = "600 x 400 x 100 mm""#, "-100, 0, 20 mm");
        assert_eq!(within, ["r lies 30 mm from the nearest flat face of a body"]);
        let curved = said(r#"cylinder = "600 x 100 mm""#, "-300, 0, 0 mm");
        assert_eq!(curved, ["r lies on a face that is curved or oblique to the body's own axes"]);
    }
}
