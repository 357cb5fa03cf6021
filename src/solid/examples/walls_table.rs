//! Makes `data/walls.csv`: how the walls of square and flat tubes give under others welded on them.
//!
//! `cargo run --release -p stillbed-solid --example walls_table > data/walls.csv` takes about twenty minutes on two
//! processors.

use rayon::prelude::*;
use stillbed_material::{Medium, Role};
use stillbed_section::{Geometry, Part, Shape};
use stillbed_solid::{BeamStiffness, Elastic, TubeJoint, TubeSection, WallFlexibility};

/// The modulus of the metal, Pa, and the width of the chord, m; the table does not depend on them.
const E: f64 = 210e9;
const WIDTH: f64 = 0.1;

/// One row: the ratios that describe the pair.
struct Row {
    fill: f64,
    aspect: f64,
    slenderness: f64,
    walls: f64,
    width: f64,
    length: f64,
}

fn beam(tube: TubeSection, fill: Option<f64>) -> Option<BeamStiffness> {
    let TubeSection { width, height, wall } = tube;
    let mut media = vec![Medium::isotropic("metal", Role::Skeleton, E, 0.3, 7850.0, 0.0)];
    let mut parts = Vec::new();
    if let Some(modulus) = fill {
        media.push(Medium::isotropic("fill", Role::Fill, modulus, 0.25, 2300.0, 0.0));
        parts.push(Part::new(Shape::Rectangle { width, height }, 1));
    }
    parts.push(Part::new(Shape::Tube { width, height, wall, radius: None }, 0));
    let section = Geometry::fitted(parts, &media).ok()?.solve(&media, 1.0).ok()?;
    let at = |i: usize| section.as_stated.matrix[(i, i)];
    Some(BeamStiffness { ea: at(0), ga: [at(1), at(2)], gj: at(3), ei: [at(5), at(4)] })
}

impl Row {
    fn solved(&self) -> Option<WallFlexibility> {
        let wall = WIDTH / self.slenderness;
        let chord = TubeSection { width: WIDTH, height: self.aspect * WIDTH, wall };
        let (across, along) = (self.width * WIDTH, self.length * self.width * WIDTH);
        let own = (self.walls * wall).min(0.4 * across.min(along));
        let brace = TubeSection { width: along, height: across, wall: own };
        let fill = (self.fill > 0.0).then_some(self.fill * E);
        let elastic = fill.map(|modulus| Elastic::isotropic(modulus, 0.25, 2300.0));
        let joint = TubeJoint {
            chord,
            brace,
            metal: Elastic::isotropic(E, 0.3, 7850.0),
            chord_fill: elastic,
            brace_fill: elastic,
            chord_beam: beam(chord, fill)?,
            brace_beam: beam(brace, fill)?,
            weld: 0.0,
            opposite: false,
        };
        let found = joint.solve([3, 2]).ok()?;
        // The chord bends and twists less where the brace stands on it, so that the flexibilities can be negative;
        // what is stored is that of a chord rigid there, more or less.
        let (bent, twisted) =
            (along / (4.0 * joint.chord_beam.ei[1].re), along / (2.0 * joint.chord_beam.gj.re));
        Some(WallFlexibility {
            push: found.push + along / (8.0 * joint.chord_beam.ga[1].re),
            in_plane: found.in_plane + bent,
            out_of_plane: found.out_of_plane + twisted,
            ..found
        })
    }
}

impl Row {
    fn line(&self, found: Option<WallFlexibility>) -> String {
        let Row { fill, aspect, slenderness, walls, width, length } = self;
        let ratios = format!("{fill},{aspect},{slenderness},{walls},{width},{length}");
        let Some(WallFlexibility { push, in_plane, out_of_plane, depth }) = found else { return ratios };
        let [push, depth] = [push * E * WIDTH, depth / WIDTH];
        let [in_plane, out_of_plane] = [in_plane, out_of_plane].map(|turn| turn * E * WIDTH.powi(3));
        format!("{ratios},{push:.4e},{in_plane:.4e},{out_of_plane:.4e},{depth:.4}")
    }
}

fn main() {
    println!(
        "fill,chord_height,chord_width,brace_wall,brace_width,brace_length,push,in_plane,out_of_plane,depth"
    );
    let mut rows = Vec::new();
    for fill in [0.0, 0.04, 0.13, 0.4] {
        for aspect in if fill > 0.0 { vec![1.0] } else { vec![0.5, 1.0, 2.0] } {
            for slenderness in [10.0, 18.0, 32.0] {
                for walls in if fill > 0.0 { vec![1.0] } else { vec![0.5, 1.2] } {
                    for width in [0.3, 0.45, 0.6, 0.75, 0.87, 1.0] {
                        for length in [0.5, 1.0, 2.0] {
                            rows.push(Row { fill, aspect, slenderness, walls, width, length });
                        }
                    }
                }
            }
        }
    }
    let lines: Vec<String> = rows.par_iter().map(|row| row.line(row.solved())).collect();
    lines.iter().for_each(|line| println!("{line}"));
}
