//! Makes `data/walls.csv`: how the walls of square and flat tubes give under others welded on them.
//!
//! With the argument `corners` it makes only the rows of chords that end.
//!
//! `cargo run --release -p stillbed-solid --example walls_table > data/walls.csv` takes about half an hour on two
//! processors.

use num_complex::Complex64;
use rayon::prelude::*;
use stillbed_solid::{BeamStiffness, ChordEnd, CornerEnd, TubeSection, WallPair};

/// The modulus of the metal, Pa, and the width of the chord, m; the table does not depend on them.
const E: f64 = 210e9;
const WIDTH: f64 = 0.1;

/// One row: the ratios that describe the pair.
struct Row {
    end: ChordEnd,
    fill: f64,
    height: f64,
    slenderness: f64,
    walls: f64,
    width: f64,
    length: f64,
}

impl Row {
    fn pair(&self) -> Option<WallPair> {
        let wall = WIDTH / self.slenderness;
        let chord = TubeSection { width: WIDTH, height: self.height * WIDTH, wall };
        let (across, along) = (self.width * WIDTH, self.length * self.width * WIDTH);
        let own = (self.walls * wall).min(0.4 * across.min(along));
        let brace = TubeSection { width: along, height: across, wall: own };
        let fill = (self.fill > 0.0).then_some(Complex64::from(self.fill * E));
        Some(WallPair {
            chord,
            brace,
            metal: E.into(),
            fill,
            chord_beam: BeamStiffness::of_tube(chord, E.into(), fill)?,
            brace_beam: BeamStiffness::of_tube(brace, E.into(), fill)?,
            end: self.end,
        })
    }

    fn line(&self) -> Option<String> {
        let [push, in_plane, out_of_plane, twist, leaning, depth] = self.pair()?.solved()?;
        let Row { fill, height, slenderness, walls, width, length, .. } = self;
        let end = match self.end {
            ChordEnd::RunsOn => "runs on",
            ChordEnd::Ends(CornerEnd::Open) => "open",
            ChordEnd::Ends(CornerEnd::Capped) => "capped",
            ChordEnd::Ends(CornerEnd::Mitred) => "mitred",
        };
        let ratios = format!("{end},{fill},{height},{slenderness},{walls},{width},{length}");
        Some(format!(
            "{ratios},{push:.4e},{in_plane:.4e},{out_of_plane:.4e},{twist:.4e},{leaning:.4e},{depth:.4}"
        ))
    }
}

const WIDTHS: [f64; 6] = [0.3, 0.45, 0.6, 0.75, 0.87, 1.0];

/// All rows of one end, with `fills`, `heights` of the chord and `walls` of the brace.
fn rows(end: ChordEnd, fills: &[f64], heights: &[f64], walls: &[f64], widths: &[f64]) -> Vec<Row> {
    let mut rows = Vec::new();
    for &fill in fills {
        for &height in heights {
            for slenderness in [10.0, 18.0, 32.0] {
                for &walls in walls {
                    for &width in widths {
                        for length in [0.5, 1.0, 2.0] {
                            rows.push(Row { end, fill, height, slenderness, walls, width, length });
                        }
                    }
                }
            }
        }
    }
    rows
}

fn main() {
    let heights = [0.5, 1.0, 2.0];
    let corners_alone = std::env::args().nth(1).as_deref() == Some("corners");
    let mut all = rows(ChordEnd::RunsOn, &[0.0], &heights, &[0.5, 1.2], &WIDTHS);
    all.extend(rows(ChordEnd::RunsOn, &[0.04, 0.13, 0.4], &[1.0], &[1.0], &WIDTHS));
    all.extend(rows(ChordEnd::RunsOn, &[0.13], &[0.5, 2.0], &[1.0], &WIDTHS));
    all.retain(|_| !corners_alone);
    for end in [CornerEnd::Open, CornerEnd::Capped] {
        all.extend(rows(ChordEnd::Ends(end), &[0.0], &heights, &[1.0], &WIDTHS));
    }
    all.extend(rows(ChordEnd::Ends(CornerEnd::Mitred), &[0.0], &heights, &[1.0], &[1.0]));
    let lines: Vec<Option<String>> = all.par_iter().map(Row::line).collect();
    println!(
        "end,fill,chord_height,chord_width,brace_wall,brace_width,brace_length,push,in_plane,out_of_plane,twist,leaning,depth"
    );
    lines.iter().flatten().for_each(|line| println!("{line}"));
}
