//! Makes `data/walls.csv`: how the walls of square and flat tubes give under others welded on them.
//!
//! With the argument `corners` it makes only the rows of chords that end, with `wide` those of braces wider than the
//! chord, with `bars` those of solid bars.
//!
//! `cargo run --release -p stillbed-solid --example walls_table > data/walls.csv` takes about an hour on two
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

/// Widths between the side walls of braces that overhang, over that of the chord.
const CLEAR: [f64; 3] = [1.02, 1.2, 1.5];

const HEIGHTS: [f64; 3] = [0.5, 1.0, 2.0];
const LENGTHS: [f64; 3] = [0.5, 1.0, 2.0];

/// Heights of the chord and lengths of empty braces that overhang, under which both matter more.
const CLOSER: [f64; 5] = [0.5, 0.7, 1.0, 1.4, 2.0];

/// All rows of one end with these fills, heights of the chord, walls of the brace, and widths and lengths of it.
fn rows(end: ChordEnd, [fills, heights, walls, widths, lengths]: [&[f64]; 5]) -> Vec<Row> {
    let mut rows = Vec::new();
    for &fill in fills {
        for &height in heights {
            for slenderness in [10.0, 18.0, 32.0] {
                for &walls in walls {
                    for &width in widths {
                        for &length in lengths {
                            rows.push(Row { end, fill, height, slenderness, walls, width, length });
                        }
                    }
                }
            }
        }
    }
    rows
}

/// Walls of the brace over that of the chord where it is empty, and where it is filled.
const WALLS: [&[f64]; 2] = [&[0.5, 1.2], &[1.0]];

/// Rows of chords that run on, of which the empty ones have these heights and braces of these lengths, and both these
/// `walls`.
fn running_on(widths: &[f64], heights: &[f64], lengths: &[f64], walls: [&[f64]; 2]) -> Vec<Row> {
    let fills = [0.04, 0.13, 0.4];
    let mut all = rows(ChordEnd::RunsOn, [&[0.0], heights, walls[0], widths, lengths]);
    all.extend(rows(ChordEnd::RunsOn, [&fills, &[1.0], walls[1], widths, &LENGTHS]));
    all.extend(rows(ChordEnd::RunsOn, [&[0.13], &[0.5, 2.0], walls[1], widths, &LENGTHS]));
    all
}

/// Those of braces that overhang on both sides.
fn wide() -> Vec<Row> {
    let outer = |row: Row| {
        let width = row.width + 2.0 * row.walls / row.slenderness;
        Row { width: (1e6 * width).round() * 1e-6, ..row }
    };
    running_on(&CLEAR, &CLOSER, &CLOSER, WALLS).into_iter().map(outer).collect()
}

/// Those of solid bars, which have no wall.
fn bars() -> Vec<Row> {
    running_on(&WIDTHS, &HEIGHTS, &LENGTHS, [&[0.0]; 2])
}

/// Those of chords that end.
fn corners() -> Vec<Row> {
    let mut all = Vec::new();
    for end in [CornerEnd::Open, CornerEnd::Capped] {
        all.extend(rows(ChordEnd::Ends(end), [&[0.0], &HEIGHTS, &[1.0], &WIDTHS, &LENGTHS]));
    }
    all.extend(rows(ChordEnd::Ends(CornerEnd::Mitred), [&[0.0], &HEIGHTS, &[1.0], &[1.0], &LENGTHS]));
    all
}

fn main() {
    let all: Vec<Row> = match std::env::args().nth(1).as_deref() {
        Some("corners") => corners(),
        Some("wide") => wide(),
        Some("bars") => bars(),
        _ => [running_on(&WIDTHS, &HEIGHTS, &LENGTHS, WALLS), corners(), wide(), bars()]
            .into_iter()
            .flatten()
            .collect(),
    };
    let lines: Vec<Option<String>> = all.par_iter().map(Row::line).collect();
    println!(
        "end,fill,chord_height,chord_width,brace_wall,brace_width,brace_length,push,in_plane,out_of_plane,twist,leaning,depth"
    );
    lines.iter().flatten().for_each(|line| println!("{line}"));
}
