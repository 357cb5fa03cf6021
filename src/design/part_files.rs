//! The files that parts of bodies are drawn in: which a design names, and their content once it is read.

use super::drawing::Drawing;
use std::collections::HashMap;
use std::sync::Arc;
use stillbed_input::document::Located;
use stillbed_input::problem::Problem;
use stillbed_input::quantity::Fault;
use stillbed_solid::ClosedSurface;
use stillbed_solid::spec::{BodySpec, StlContent, StlSpec};

fn of(body: &BodySpec) -> impl Iterator<Item = &StlSpec> {
    body.parts.iter().filter_map(|part| part.stl.as_ref())
}

/// The files that parts of `drawings` are drawn in, each where it is first named.
pub(super) fn named<'d>(drawings: impl Iterator<Item = &'d Drawing>) -> Vec<Located<String>> {
    let mut files: Vec<Located<String>> = Vec::new();
    for stl in drawings.flat_map(|drawing| drawing.bodies.iter()).flat_map(|(_, body)| of(body)) {
        if files.iter().all(|known| known.value != stl.file.value) {
            files.push(stl.file.clone());
        }
    }
    files
}

/// Takes the content of each file into the parts that are drawn in it, and says what is wrong with it.
pub(super) fn supply<'d>(
    drawings: impl Iterator<Item = &'d mut Drawing>,
    mut read: impl FnMut(&str) -> Result<Vec<u8>, Fault>,
) -> Vec<Problem> {
    let mut said = Vec::new();
    let mut files: HashMap<String, Result<Vec<u8>, Fault>> = HashMap::new();
    // By file and unit.
    let mut surfaces: HashMap<(String, String), Result<Arc<ClosedSurface>, Fault>> = HashMap::new();
    for body in drawings.flat_map(|drawing| drawing.bodies.iter_mut()) {
        for stl in body.parts.iter_mut().filter_map(|part| part.stl.as_mut()) {
            let name = &stl.file.value;
            let surface = surfaces.entry((name.clone(), stl.unit.clone())).or_insert_with(|| {
                let bytes = files.entry(name.clone()).or_insert_with(|| read(name));
                let bytes = bytes.as_ref().map_err(Fault::clone)?;
                stl.surface(bytes).map(Arc::new)
            });
            stl.content = match surface {
                Ok(surface) => StlContent::Surface(surface.clone()),
                Err(fault) => {
                    let place = stl.file.place.clone();
                    said.push(Problem::error(place, fault.message.clone()).with_help(fault.help.clone()));
                    StlContent::Refused
                }
            };
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use crate::{Reading, Stated};
    use stillbed_input::quantity::Fault;
    use stillbed_material::Table;

    /// A box from `low` to `high` as text; its triangles look inwards where `inwards`, and the last are left out.
    fn cuboid(low: [f64; 3], high: [f64; 3], inwards: bool, left_out: usize) -> String {
        let faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        let triangles = faces.iter().flat_map(|[a, b, c, d]| [[a, b, c], [a, c, d]]);
        let mut text = "solid box\n".to_string();
        for [a, b, c] in triangles.take(12 - left_out) {
            for corner in if inwards { [b, a, c] } else { [a, b, c] } {
                let at = |axis: usize| if corner >> axis & 1 == 1 { high[axis] } else { low[axis] };
                text += &format!("vertex {} {} {}\n", at(0), at(1), at(2));
            }
        }
        text + "endsolid box\n"
    }

    /// A slab of 600 x 400 x 100 units of `unit` about the origin from `file`.
    fn read(unit: &str, file: Option<&str>) -> Reading {
        let text = format!(
            r#"
            points = {{ f = "0, 0, -50 mm", g = "200, 100, 50 mm" }}
            patches = {{ f = "round 40 mm", g = "round 40 mm" }}
            anchors.floor = {{ at = "f", hold = "all" }}
            builds.stone.bodies.slab.parts = [{{ stl = "slab.stl", unit = "{unit}", of = "granite" }}]
            "#
        );
        let mut stated = Stated::read("d.toml", &text);
        let files: Vec<String> = stated.files().into_iter().map(|file| file.value).collect();
        assert_eq!(files, ["slab.stl"]);
        if let Some(file) = file {
            stated.supply(|name| match name {
                "slab.stl" => Ok(file.as_bytes().to_vec()),
                _ => Err(Fault { message: "missing".to_string(), help: String::new() }),
            });
        }
        stated.resolve(&Table::built_in())
    }

    fn said(unit: &str, file: Option<&str>) -> Vec<String> {
        read(unit, file).problems.into_iter().map(|problem| problem.message).collect()
    }

    const LOW: [f64; 3] = [-300.0, -200.0, -50.0];
    const HIGH: [f64; 3] = [300.0, 200.0, 50.0];

    #[test]
    fn a_slab_from_a_file_is_held_and_weighs_what_it_does() {
        let reading = read("mm", Some(&cuboid(LOW, HIGH, false, 0)));
        assert_eq!(reading.problems, []);
        let volumes = reading.design.unwrap().builds[0].bodies[0].volumes().unwrap();
        assert!((volumes[0].1 - 0.6 * 0.4 * 0.1).abs() < 1e-12);
    }

    #[test]
    fn a_surface_that_is_none_is_refused_at_its_place_in_the_file() {
        let open = said("mm", Some(&cuboid(LOW, HIGH, false, 1)));
        assert_eq!(open, ["\"slab.stl\": the surface is open at 300, 0, 50 mm"]);
        let inside_out = said("mm", Some(&cuboid(LOW, HIGH, true, 0)));
        assert!(inside_out[0].starts_with("\"slab.stl\": the surface is inside out at "), "{inside_out:?}");
        let both = cuboid(LOW, HIGH, false, 0) + &cuboid([0.0; 3], [100.0, 100.0, 80.0], false, 0);
        let crossing = said("mm", Some(&both));
        assert!(crossing[0].starts_with("\"slab.stl\": the surface crosses itself at "), "{crossing:?}");
        assert_eq!((open.len(), inside_out.len(), crossing.len()), (1, 1, 1));
        assert_eq!(said("mm", None), ["\"slab.stl\" was not read"]);
    }

    #[test]
    fn a_part_in_the_wrong_unit_is_doubted_beside_the_rest_of_the_machine() {
        let slab = cuboid(LOW, HIGH, false, 0);
        let doubt = |unit: &str| {
            let said = said(unit, Some(&slab)).into_iter();
            said.filter(|message| message.starts_with("\"slab.stl\"")).collect::<Vec<_>>()
        };
        let large = "\"slab.stl\" is 600000 mm across, and the rest of the machine 200 mm";
        assert_eq!(doubt("m"), [large]);
        let small = "\"slab.stl\" is 600 µm across, and the rest of the machine 200 mm";
        assert_eq!(doubt("um"), [small]);
        let inches = "\"slab.stl\" is 15240 mm across, and the rest of the machine 200 mm";
        assert_eq!(doubt("in"), [inches]);
    }
}
