//! One way of making the base: its drawing, its materials, its sections as geometry.

use super::bodies::{self, BuildBody};
use super::drawing::Drawing;
use super::grid_limits::GridLimits;
use super::substance::{Register, Stores, Substance};
use std::sync::{Arc, OnceLock};
use stillbed_eigen::Patterns;
use stillbed_frame::Inside;
use stillbed_input::document::Located;
use stillbed_input::problem::{Place, Problem, Problems};
use stillbed_input::quantity::{Kind, Spread, show};
use stillbed_material::{Role, Table};
use stillbed_modes::{EliminationOrder, ModesFault};
use stillbed_section::clearance::{hull, stands_out, within};
use stillbed_section::spec::SectionSpec;
use stillbed_section::{Geometry, Part};

/// One way of making the base.
///
/// ```
/// use stillbed_design::{Design, SMALLEST};
/// use stillbed_input::quantity::Draw;
/// use stillbed_material::Table;
///
/// let design = Design::read("bar.toml", SMALLEST, &Table::built_in()).design.unwrap();
/// let build = design.build("steel").unwrap();
/// let model = build.model(&design.goal, &Draw::default()).unwrap();
/// // 40 mm x 10 mm x 300 mm at 7850 kg/m3.
/// assert!((model.mass() - 0.942).abs() < 1e-9);
/// ```
#[derive(Debug, Clone)]
pub struct Build {
    /// Its key in the design.
    pub name: String,
    /// The build's name as readers see it.
    pub label: String,
    /// Where it is stated.
    pub place: Place,
    /// The common drawing with what the build states itself.
    pub drawing: Drawing,
    /// What its parts are made of.
    pub substances: Vec<Substance>,
    /// The sections that its members are made of, in the order of the drawing.
    pub profiles: Vec<Profile>,
    /// Its bodies, in the order of the drawing.
    pub bodies: Vec<BuildBody>,
    /// What its members as drawn lose where they lie inside others, once that is known.
    pub(super) inside: OnceLock<Found>,
    /// The elimination order of its frame without subdivision, once it has been solved.
    pub(super) whole: OnceLock<Arc<EliminationOrder>>,
    /// Elimination orders, shared by all builds.
    pub(super) patterns: Patterns,
    /// Factor of the flexibility of walls; `None` where none gives.
    pub(super) walls: Option<Spread>,
    /// Whether these are taken as rigid all the same.
    pub(super) rigid_walls: bool,
    /// How fine the grids of its bodies become.
    pub grid_limits: GridLimits,
    /// Set once they are as fine as that.
    pub(super) refined: Arc<OnceLock<()>>,
}

/// What members lose where they lie inside others, and the shapes of sections for which that was found.
pub(super) type Found = (Vec<Arc<Geometry>>, Arc<Vec<Inside>>);

/// A section as geometry, independent of the values of its materials.
#[derive(Debug, Clone)]
pub struct Profile {
    /// Its name in the design.
    pub name: String,
    /// What the design says of it.
    pub spec: SectionSpec,
    /// Its parts with their mesh.
    pub geometry: Arc<Geometry>,
    /// How far its parts act together, 0 to 1.
    pub bond: Spread,
}

impl Profile {
    /// True when its parts are of several materials, so that a bond acts between them.
    #[must_use]
    pub fn is_bonded(&self) -> bool {
        let mut media = self.geometry.parts().iter().filter(|part| !part.cavity).map(|part| part.medium);
        let first = media.next();
        media.any(|medium| Some(medium) != first)
    }
}

impl Build {
    /// Assembles a build from its drawing, and reports problems; `None` when one of them is an error.
    pub(super) fn resolve(
        name: Located<String>,
        label: Option<String>,
        drawing: Drawing,
        table: &Table,
        register: &mut Register,
    ) -> (Option<Build>, Vec<Problem>) {
        let mut said = Vec::new();
        let mut substances: Vec<Substance> = Vec::new();
        let mut profiles = Vec::new();
        let patterns = register.patterns.clone();
        let mut stores = Stores::new(&drawing, table, register);
        let used = |section: &str| drawing.members.iter().any(|(_, member)| member.section.value == section);
        for (section, spec) in drawing.sections.iter() {
            let mut parts = Vec::new();
            for part in &spec.parts {
                if let Some(medium) = stores.number(&part.of, &mut substances, &mut said) {
                    let cavity = substances[medium].role() == Role::Void;
                    parts.push(Part {
                        shape: part.shape.clone(),
                        at: part.at,
                        turn: part.turn,
                        medium,
                        cavity,
                    });
                }
            }
            if parts.len() == spec.parts.len() {
                let geometry = stores.geometry(parts, &substances).map_err(|fault| spec.problem(&fault));
                match geometry.map(|geometry| Profile::new(section, spec, geometry)) {
                    Ok((profile, doubts)) => {
                        said.extend(doubts);
                        said.extend(poking_out(&profile, &substances));
                        said.extend(too_thin(&profile, &substances));
                        if used(section) {
                            profiles.push(profile);
                        }
                    }
                    Err(problem) => said.push(problem),
                }
            }
        }
        // Materials that may be chosen from the stock are looked up too, though no part is made of them yet.
        for of in drawing.vary.iter().flat_map(|(_, vary)| vary.materials()) {
            if substances.iter().all(|s| s.name() != of.value) {
                match stores.find(of) {
                    Ok(found) => substances.extend(found),
                    Err(problems) => said.extend(problems),
                }
            }
        }
        let bodies = bodies::resolve(&drawing, &sizes(&profiles), &mut stores, &mut substances, &mut said);
        said.extend(idle_prices(&drawing, &substances));
        let label = label.unwrap_or_else(|| name.value.replace('_', " "));
        let (name, place) = (name.value, name.place);
        let (inside, whole) = (OnceLock::new(), OnceLock::new());
        let mut build = Build {
            name,
            label,
            place,
            drawing,
            substances,
            profiles,
            bodies,
            inside,
            whole,
            patterns,
            walls: None,
            rigid_walls: false,
            grid_limits: GridLimits::USUAL,
            refined: Arc::default(),
        };
        let sound = !said.iter().any(Problem::is_error);
        if sound && !build.brace_ends().is_empty() {
            build.walls = Some(register.enter_walls());
        }
        (sound.then_some(build), said)
    }
}

/// Sizes of the sections by name, across and up, m.
pub(super) fn sizes(profiles: &[Profile]) -> Vec<(String, [f64; 2])> {
    profiles.iter().map(|p| (p.name.clone(), p.geometry.size())).collect()
}

impl Build {
    /// Why the build has no modes, as problems at their places.
    pub fn problems(&self, fault: &ModesFault) -> Problems {
        match fault {
            ModesFault::Frame(faults) if !faults.is_empty() => faults.iter().map(|f| self.place(f)).collect(),
            ModesFault::Mechanism(mechanism) => {
                let first = mechanism.members.first().and_then(|name| self.drawing.members.get(name));
                let place = first.map_or(&self.place, |member| &member.place);
                let message = format!("build \"{}\": {mechanism}", self.name);
                Problem::error(place.clone(), message).with_help(mechanism.help()).into()
            }
            other => Problem::error(self.place.clone(), other.to_string()).into(),
        }
    }
}

impl Profile {
    /// A meshed section, and what is doubtful about it.
    fn new(name: &str, spec: &SectionSpec, geometry: Arc<Geometry>) -> (Profile, Vec<Problem>) {
        let mut doubts = Vec::new();
        for part in geometry.hidden() {
            let message = format!("part {} is wholly displaced by later ones", part + 1);
            doubts.push(
                Problem::error(spec.parts[part].place.clone(), message)
                    .with_help("later parts displace earlier ones; change their order"),
            );
        }
        for (i, part) in geometry.parts().iter().enumerate().filter(|(_, part)| part.cavity) {
            if !cuts(&geometry, i) {
                let [y, z] = part.at;
                let message = format!(
                    "the cavity at {}, {} lies outside the section",
                    show(y, Kind::Length),
                    show(z, Kind::Length)
                );
                doubts.push(
                    Problem::error(spec.parts[i].place.clone(), message)
                        .with_help("a cavity displaces parts that stand before it"),
                );
            }
        }
        let groups = geometry.groups().len();
        if groups > 1 && spec.bond.is_some_and(|bond| bond.value > 0.0) {
            let message = format!("the parts make {groups} bodies that do not touch, yet a bond is stated");
            doubts.push(
                Problem::error(spec.place.clone(), message)
                    .with_help("let the parts touch or overlap, or state bond = 0"),
            );
        } else if groups > 1 {
            let message =
                format!("the parts make {groups} bodies that do not touch; their contour is held rigid");
            doubts.push(
                Problem::warning(spec.place.clone(), message)
                    .with_help("let them touch or overlap, or make them members of their own"),
            );
        }
        let bond = spec.bond.unwrap_or(Spread::exact(1.0));
        (Profile { name: name.to_string(), spec: spec.clone(), geometry, bond }, doubts)
    }
}

/// True when the bounding box of the cavity `part` overlaps that of an earlier part.
fn cuts(geometry: &Geometry, part: usize) -> bool {
    let Some(own) = geometry.extent(part) else {
        return false;
    };
    let meets = |other: [[f64; 2]; 2]| (0..2).all(|i| own[0][i] < other[1][i] && other[0][i] < own[1][i]);
    (0..part).any(|i| !geometry.parts()[i].cavity && geometry.extent(i).is_some_and(meets))
}

/// Skeleton parts that are cast in at one end and stick out of their mould at the other.
///
/// A part that only lies against the fill is not meant, nor one that is itself the mould: then the fill lies
/// within the hull of its outline, as in a tube or between flanges.
fn poking_out(profile: &Profile, substances: &[Substance]) -> Vec<Problem> {
    let parts = profile.geometry.parts();
    let role = |i: usize| substances.get(parts[i].medium).map(Substance::role);
    let outer = |i: usize| parts[i].rings().swap_remove(0);
    let mut said = Vec::new();
    for i in (0..parts.len()).filter(|i| role(*i) == Some(Role::Skeleton)) {
        let own = outer(i);
        let around = hull(own.iter().copied());
        let moulds: Vec<Vec<[f64; 2]>> = (0..i)
            .filter(|j| role(*j) == Some(Role::Fill))
            .map(outer)
            .filter(|mould| !within(mould, &around))
            .collect();
        let spec = &profile.spec.parts[i];
        if let Some(out) = stands_out(&own, &moulds).filter(|_| !spec.proud) {
            let message = format!(
                "part {} of section \"{}\" is cast in but stands {} out of its fill; none is allowed",
                i + 1,
                profile.name,
                show(out, Kind::Length)
            );
            let help = "move it with at, make the fill larger, or state proud = true where it is meant";
            said.push(Problem::error(spec.place.clone(), message).with_help(help));
        }
    }
    said
}

/// Parts of a mix that are thinner than its largest stone.
fn too_thin(profile: &Profile, substances: &[Substance]) -> Vec<Problem> {
    let mut said = Vec::new();
    for (i, part) in profile.geometry.parts().iter().enumerate() {
        let Some(Substance::Mix(recipe)) = substances.get(part.medium) else { continue };
        let largest = recipe.aggregates.iter().filter_map(|a| a.grain).map(|(_, d)| d).fold(0.0, f64::max);
        // The part's thickest region: slivers beside rounded corners hold no stone anyway.
        let side = |piece: &Vec<Vec<[f64; 2]>>| {
            let extent = |axis: usize| {
                let values = || piece[0].iter().map(|p| p[axis]);
                values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min)
            };
            extent(0).min(extent(1))
        };
        let thin = profile.geometry.outlines()[i].iter().map(side).fold(0.0, f64::max);
        if thin > 0.0 && thin < largest {
            let message = format!(
                "the fill is {} thin here, and the largest stones of \"{}\" measure {}",
                show(thin, Kind::Length),
                recipe.name,
                show(largest, Kind::Length)
            );
            let help = format!(
                "keep stones below a third of it, {}, or make the part thicker",
                show(thin / 3.0, Kind::Length)
            );
            said.push(Problem::error(profile.spec.parts[i].place.clone(), message).with_help(help));
        }
    }
    said
}

/// Prices of materials that nothing is made of.
fn idle_prices(drawing: &Drawing, substances: &[Substance]) -> Vec<Problem> {
    let mut said = Vec::new();
    if drawing.prices.is_empty() {
        return said;
    }
    for (name, _) in &drawing.prices.per_mass {
        let known = |n: &str| substances.iter().any(|s| s.name() == n);
        if !known(&name.value) && drawing.mixes.get(&name.value).is_none() {
            let message = format!("the price of \"{}\", of which nothing is made here", name.value);
            let help = stillbed_input::problem::suggest(&name.value, substances.iter().map(Substance::name));
            said.push(Problem::warning(name.place.clone(), message).with_help(help));
        }
    }
    said
}
