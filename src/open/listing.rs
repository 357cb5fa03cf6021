//! What the drawing consists of, for the page to point at, and where problems stand in it.

use serde_json::{Value, json};
use stillbed_design::{Build, Design};
use stillbed_input::problem::Problem;
use stillbed_input::quantity::{Kind, show};
use stillbed_study::shapes::Shapes;

/// Points, members, masses, feet and sections of `build` with the numbers of their places in `shapes`; lengths in mm.
pub fn listed(design: &Design, build: &Build, shapes: &Shapes) -> Value {
    let drawing = &build.drawing;
    let mm = |p: &[f64; 3]| p.map(|v| (v * 1e6).round() / 1e3);
    let at = |i: usize| shapes.machine.points.get(i).map(|place| shapes.first + place);
    let points: Vec<Value> = drawing
        .points
        .iter()
        .enumerate()
        .map(|(i, (name, point))| json!({ "name": name, "at": mm(&point.position), "place": at(i) }))
        .collect();
    let members: Vec<Value> = drawing
        .members
        .iter()
        .map(|(name, member)| {
            let line = shapes.lines.iter().position(|(own, _)| own == name);
            let middle = line.and_then(|line| shapes.lines[line].1.get(shapes.lines[line].1.len() / 2));
            json!({
                "name": name, "from": member.from.value, "to": member.to.value, "section": member.section.value,
                "line": line, "place": middle,
            })
        })
        .collect();
    let masses: Vec<Value> = drawing
        .masses
        .iter()
        .enumerate()
        .map(|(i, (name, mass))| {
            let place = shapes.machine.centres.get(i).map(|place| shapes.first + place);
            json!({ "name": name, "at": mass.at.value, "mass": show(mass.mass.value, Kind::Mass), "place": place })
        })
        .collect();
    let feet: Vec<&str> =
        drawing.feet.iter().flat_map(|(_, foot)| &foot.at).map(|place| place.value.as_str()).collect();
    let sections: Vec<Value> = build
        .profiles
        .iter()
        .map(|profile| {
            let parts: Vec<Value> = profile
                .spec
                .parts
                .iter()
                .map(|part| {
                    let sizes: Vec<Value> = part
                        .shape
                        .sizes()
                        .iter()
                        .map(|(name, size)| json!({ "name": name, "mm": (size * 1e6).round() / 1e3 }))
                        .collect();
                    json!({ "shape": part.shape.key(), "sizes": sizes, "of": part.of.value })
                })
                .collect();
            json!({ "name": profile.name, "parts": parts })
        })
        .collect();
    let builds: Vec<Value> =
        design.builds.iter().map(|build| json!({ "name": build.name, "label": build.label })).collect();
    json!({
        "build": build.name, "builds": builds, "points": points, "members": members, "masses": masses,
        "feet": feet, "sections": sections,
    })
}

/// The place in the drawing of what a `problem` is about; `None` where the listing has nothing of that name.
pub fn place(problem: &Problem, listing: &Value) -> Option<u64> {
    let mut words = problem.place.key.split('.');
    let mut kind = words.next()?;
    if kind == "builds" {
        kind = words.nth(1)?;
    }
    let name = words.next()?.trim_matches('"');
    let of = |kind: &str, name: &str| {
        let found = listing[kind].as_array()?.iter().find(|own| own["name"] == name)?;
        found["place"].as_u64()
    };
    match kind {
        "points" | "members" | "masses" => of(kind, name),
        "patches" => of("points", name),
        "sections" => {
            let member = listing["members"].as_array()?.iter().find(|member| member["section"] == name)?;
            member["place"].as_u64()
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillbed_design::STARTER;
    use stillbed_input::problem::Place;
    use stillbed_material::Table;

    #[test]
    fn what_is_listed_has_its_place_in_the_drawing() {
        let design = Design::read("a.toml", STARTER, &Table::built_in()).design.unwrap();
        let build = design.build("cast").unwrap();
        let shapes = Shapes::at_rest(&design, build).unwrap();
        let listing = listed(&design, build, &shapes);
        for kind in ["points", "members", "masses"] {
            let all = listing[kind].as_array().unwrap();
            assert!(!all.is_empty());
            for own in all {
                let place = own["place"].as_u64().unwrap() as usize;
                assert!(place < shapes.places.len(), "{own}");
                if kind == "points" {
                    let at: Vec<f64> =
                        own["at"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
                    for axis in 0..3 {
                        assert!((shapes.places[place][axis] * 1e3 - at[axis]).abs() < 1e-3, "{own}");
                    }
                }
            }
        }
        assert_eq!(listing["sections"][0]["parts"][1]["sizes"][2], json!({ "name": "wall", "mm": 4.0 }));
        let at = |key: &str| place(&Problem::error(Place::key(key), ""), &listing);
        assert_eq!(at("members.spine.section"), listing["members"][2]["place"].as_u64());
        assert_eq!(at("builds.cast.points.head"), listing["points"][4]["place"].as_u64());
        assert!(at("sections.arm.parts").is_some() && at("title").is_none() && at("points.nose").is_none());
    }
}
