//! A build with other sizes or places of the parts of its bodies.

use super::bodies::redrawn;
use super::build::{Build, sizes};
use super::grid_limits::GridLimits;
use std::sync::{Arc, OnceLock};
use stillbed_input::problem::{Problem, Problems};
use stillbed_solid::spec::BodyPartSpec;

/// What becomes of a part of a body.
#[derive(Debug, Clone, PartialEq)]
pub enum BodyPartChange {
    /// Sizes in the order of its form, m.
    Sizes(Vec<f64>),
    /// The place of its middle, global axes, m.
    At([f64; 3]),
}

impl Build {
    /// The build with parts of its bodies changed: body, number of the part from 0, and change. A point that lies
    /// on a part stays on its faces, and so moves with them. The bodies are solved anew when they are needed,
    /// on their first grids.
    ///
    /// # Errors
    /// What is wrong with the bodies so drawn, at its place; a part that is not there or has no such sizes.
    pub fn with_body_parts(&self, changes: &[(&str, usize, BodyPartChange)]) -> Result<Build, Problems> {
        let mut build = Build {
            inside: OnceLock::new(),
            whole: OnceLock::new(),
            grid_limits: GridLimits::FIRST,
            refined: Arc::default(),
            ..self.clone()
        };
        let mut parts: Vec<(BodyPartSpec, BodyPartSpec)> = Vec::new();
        for (name, number, change) in changes {
            let unfit = || {
                let message = format!("part {} of body \"{name}\" cannot be changed so", number + 1);
                Problem::error(self.place.clone(), message).with_help("sizes are those of its own form")
            };
            let mut spec = build.drawing.bodies.get(name).ok_or_else(unfit)?.clone();
            let part = spec.parts.get_mut(*number).ok_or_else(unfit)?;
            let drawn = self.drawing.bodies.get(name).and_then(|body| body.parts.get(*number));
            let drawn = drawn.ok_or_else(unfit)?.clone();
            match change {
                BodyPartChange::Sizes(sizes) => *part = part.resized(sizes).ok_or_else(unfit)?,
                BodyPartChange::At(at) => part.middle = *at,
            }
            match parts.iter_mut().find(|(before, _)| before.place == drawn.place) {
                Some((_, after)) => after.clone_from(part),
                None => parts.push((drawn, part.clone())),
            }
            build.drawing.bodies.insert(name, spec);
        }
        for point in build.drawing.points.iter_mut() {
            for (before, after) in &parts {
                let moved = before.carried(after, point.position);
                if moved != point.position {
                    point.position = moved;
                    break;
                }
            }
        }
        let mut said = Vec::new();
        build.bodies = redrawn(&build.drawing, &sizes(&build.profiles), &self.bodies, &mut said);
        said.retain(Problem::is_error);
        match said.is_empty() {
            true => Ok(build),
            false => Err(said.into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::refining::on_first_grids;
    use super::super::slab_sample::SLAB;
    use super::*;
    use approx::assert_relative_eq;
    use stillbed_input::quantity::Draw;

    fn slab() -> Build {
        let design = on_first_grids("d.toml", SLAB);
        design.design.unwrap_or_else(|| panic!("{:?}", design.problems)).builds.remove(0)
    }

    #[test]
    fn a_thicker_slab_is_the_slab_that_is_drawn_thicker() {
        let size = |length, width, height| BodyPartChange::Sizes(vec![length, width, height]);
        let thick = slab().with_body_parts(&[
            ("slab", 0, size(0.4, 0.25, 0.16)),
            ("slab", 1, BodyPartChange::Sizes(vec![0.04, 0.16])),
        ]);
        let thick = thick.unwrap();
        let drawn =
            SLAB.replace("60 mm\"", "80 mm\"").replace("x 120 mm", "x 160 mm").replace(", -60", ", -80");
        let design = on_first_grids("d.toml", &drawn);
        let drawn = design.design.unwrap_or_else(|| panic!("{:?}", design.problems)).builds.remove(0);
        for ((name, own), (_, other)) in thick.drawing.points.iter().zip(drawn.drawing.points.iter()) {
            own.position.iter().zip(other.position).for_each(|(a, b)| {
                assert!((a - b).abs() < 1e-12, "{name}: {:?} {:?}", own.position, other.position);
            });
        }
        let mass = |build: &Build| build.model(&Default::default(), &Draw::default()).unwrap().mass();
        let stone = (0.4 * 0.25 - std::f64::consts::PI * 0.02f64.powi(2)) * 0.16;
        assert_relative_eq!(mass(&thick), mass(&drawn), max_relative = 1e-12);
        let density = (mass(&thick) - 4.0) / stone;
        assert_relative_eq!(density, (mass(&slab()) - 4.0) / (stone * 0.75), max_relative = 1e-3);
        // Drawn back, it is what it was.
        let back = thick.with_body_parts(&[
            ("slab", 0, size(0.4, 0.25, 0.12)),
            ("slab", 1, BodyPartChange::Sizes(vec![0.04, 0.12])),
        ]);
        assert_relative_eq!(mass(&back.unwrap()), mass(&slab()), max_relative = 1e-9);
    }

    #[test]
    fn what_moves_takes_its_points_along() {
        let moved = slab().with_body_parts(&[("slab", 0, BodyPartChange::At([0.0, 0.0, 0.01]))]).unwrap();
        assert_relative_eq!(moved.drawing.points.get("seat").unwrap().position[2], 0.07, epsilon = 1e-12);
        let narrow = BodyPartChange::Sizes(vec![0.2, 0.25, 0.12]);
        let said = slab().with_body_parts(&[("slab", 0, narrow)]).unwrap_err().to_string();
        assert!(said.contains("foot_a"), "{said}");
        for (body, part, sizes) in [("slab", 2, 3), ("slap", 0, 3), ("slab", 1, 3)] {
            let change = BodyPartChange::Sizes(vec![0.1; sizes]);
            let said = slab().with_body_parts(&[(body, part, change)]).unwrap_err().to_string();
            assert!(said.contains("cannot be changed so"), "{said}");
        }
    }
}
