//! Makes `data/bearings.csv`: how solid members give under the ends of tubes that stand on them.
//!
//! `cargo run --release -p stillbed-solid --example bearings_table > bearings.csv`, then put in place of
//! `data/bearings.csv`.

use rayon::prelude::*;
use stillbed_material::{Medium, Role};
use stillbed_section::{Geometry, Part, Shape};
use stillbed_solid::{BeamStiffness, Bearing, TubeSection};

/// The modulus of the tube's metal, Pa, and its width across the chord, m; the table does not depend on them.
const E: f64 = 210e9;
const ACROSS: f64 = 0.1;

fn beam(parts: Vec<Part>, media: &[Medium]) -> Option<BeamStiffness> {
    let section = Geometry::fitted(parts, media).ok()?.solve(media, 1.0).ok()?;
    let at = |i: usize| section.as_stated.matrix[(i, i)];
    Some(BeamStiffness { ea: at(0), ga: [at(1), at(2)], gj: at(3), ei: [at(5), at(4)] })
}

fn line([filled, modulus, width, height, wall, length]: [f64; 6]) -> Option<String> {
    let chord = [width * ACROSS, height * ACROSS];
    let tube = TubeSection { width: length * ACROSS, height: ACROSS, wall: wall * ACROSS };
    let bearing =
        Bearing { chord, modulus: (modulus * E).into(), tube, metal: E.into(), filled: filled > 0.0 };
    let media = [
        Medium::isotropic("metal", Role::Skeleton, E, 0.3, 7850.0, 0.0),
        Medium::isotropic("chord", Role::Fill, modulus * E, 0.25, 2300.0, 0.0),
    ];
    let TubeSection { width: along, height: across, wall: thick } = tube;
    let mut parts =
        vec![Part::new(Shape::Tube { width: along, height: across, wall: thick, radius: None }, 0)];
    if bearing.filled {
        parts.insert(0, Part::new(Shape::Rectangle { width: along, height: across }, 1));
    }
    let own = beam(vec![Part::new(Shape::Rectangle { width: chord[0], height: chord[1] }, 1)], &media)?;
    let [push, in_plane, out_of_plane, depth] = bearing.solved(own, beam(parts, &media)?)?;
    let ratios = format!("{filled},{modulus},{width},{height},{wall},{length}");
    Some(format!("{ratios},{push:.4e},{in_plane:.4e},{out_of_plane:.4e},{depth:.4}"))
}

fn main() {
    let mut all = Vec::new();
    for filled in [0.0, 1.0] {
        for modulus in [0.05, 0.2, 0.8] {
            for width in [1.0, 1.5, 4.0] {
                for height in [0.75, 1.2, 2.0, 3.0] {
                    for wall in [0.04, 0.1] {
                        for length in [0.5, 1.0, 2.0] {
                            all.push([filled, modulus, width, height, wall, length]);
                        }
                    }
                }
            }
        }
    }
    let lines: Vec<Option<String>> = all.par_iter().map(|own| line(*own)).collect();
    println!("filled,modulus,chord_width,chord_height,wall,length,push,in_plane,out_of_plane,depth");
    lines.iter().flatten().for_each(|line| println!("{line}"));
}
