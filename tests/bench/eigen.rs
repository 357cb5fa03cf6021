//! How long the lowest ten modes take, by size and kind of structure.
//!
//! `cargo bench --bench eigen` measures with divan. To compare with other solvers, `tests/bench/rivals.py`
//! runs this program with a directory in `STILLBED_MATRICES`: the program writes the matrices there, then for
//! each line of names that it reads solves them once and prints the seconds.

#![allow(clippy::expect_used, clippy::panic)] // a measurement that cannot be made may stop

mod block;
mod lattice;

use block::block;
use lattice::{Sample, beams};
use std::hint::black_box;
use std::io::{BufRead, Write};
use std::time::Instant;
use stillbed::eigen::{Eigenpairs, MatrixPair, Settings, Sparse, damped, lowest};

const COUNT: usize = 10;

const SAMPLES: [&str; 9] = [
    "lattice_60",
    "lattice_216",
    "lattice_600",
    "lattice_1k",
    "lattice_10k",
    "lattice_100k",
    "flat_100k",
    "block_30k",
    "block_150k",
];

fn main() -> std::io::Result<()> {
    match std::env::var_os("STILLBED_MATRICES") {
        Some(folder) => serve(std::path::Path::new(&folder)),
        None => {
            divan::main();
            Ok(())
        }
    }
}

fn sample(name: &str) -> Sample {
    match name {
        "lattice_60" => beams(2, 1, 6, true),
        "lattice_216" => beams(3, 3, 5, true),
        "lattice_600" => beams(5, 4, 6, true),
        "lattice_1k" => beams(5, 5, 8, true),
        "lattice_10k" => beams(12, 12, 13, true),
        "lattice_100k" => beams(26, 26, 26, true),
        "flat_100k" => beams(90, 90, 3, true),
        "block_30k" => block(21, 21, 21),
        "block_150k" => block(36, 36, 37),
        other => panic!("no sample {other}"),
    }
}

fn solve(sample: &Sample) -> Eigenpairs {
    let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
    lowest(&pair, COUNT, &Settings { memory_limit: 16 << 30, ..Settings::default() }).expect("a sound sample")
}

#[divan::bench(args = &SAMPLES[..5])]
fn lowest_ten(bencher: divan::Bencher, name: &str) {
    let sample = sample(name);
    bencher.bench_local(|| black_box(solve(&sample)));
}

#[divan::bench(args = &SAMPLES[5..], sample_count = 1, sample_size = 1)]
fn lowest_ten_of_many(bencher: divan::Bencher, name: &str) {
    let sample = sample(name);
    bencher.bench_local(|| black_box(solve(&sample)));
}

/// Ten damped modes from ten undamped ones; every member has its own loss factor.
#[divan::bench(args = &SAMPLES[..4])]
fn damped_ten(bencher: divan::Bencher, name: &str) {
    let sample = sample(name);
    let uneven = |dof: usize| 0.1 + 0.05 * ((dof / 6) as f64).sin();
    let own = |(i, j, k): (usize, usize, f64)| k * (uneven(j) * uneven(i));
    let values: Vec<f64> = sample.stiffness.entries().map(own).collect();
    let mut loss = sample.stiffness.clone();
    loss.values_mut().copy_from_slice(&values);
    let pair = MatrixPair { stiffness: &sample.stiffness, mass: &sample.mass, group: &sample.group };
    let pairs = solve(&sample);
    bencher.bench_local(|| black_box(damped(&pair, &loss, &pairs)).expect("a sound sample"));
}

/// For each name read, writes its matrices into `folder`, solves them and prints `seconds peak_kb ω²…`.
fn serve(folder: &std::path::Path) -> std::io::Result<()> {
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let (name, repeats) = line.split_once(' ').unwrap_or((&line, "1"));
        let sample = sample(name);
        write(&folder.join(name), &sample)?;
        let repeats = repeats.parse::<u32>().unwrap_or(1).max(1);
        let start = processor_seconds();
        let mut found = None;
        for _ in 0..repeats {
            found = Some(black_box(solve(&sample)));
        }
        let seconds = (processor_seconds() - start) / f64::from(repeats);
        let omega_squared: Vec<String> =
            found.iter().flat_map(|f| &f.omega_squared).map(|w| format!("{w:e}")).collect();
        println!("{seconds:e} {} {}", peak_memory(), omega_squared.join(" "));
        std::io::stdout().flush()?;
    }
    Ok(())
}

/// Column starts, rows and values of both matrices; each list begins with its length; 64-bit little-endian.
fn write(path: &std::path::Path, sample: &Sample) -> std::io::Result<()> {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
    for matrix in [&sample.stiffness, &sample.mass].map(Sparse::as_faer) {
        for list in [matrix.col_ptr(), matrix.row_idx()] {
            file.write_all(&(list.len() as u64).to_le_bytes())?;
            for &index in list {
                file.write_all(&(index as u64).to_le_bytes())?;
            }
        }
        file.write_all(&(matrix.val().len() as u64).to_le_bytes())?;
        for value in matrix.val() {
            file.write_all(&value.to_le_bytes())?;
        }
    }
    file.flush()
}

/// Processor time of this thread, which a busy machine does not change; wall time if it is not reported.
fn processor_seconds() -> f64 {
    let status = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = status.split_whitespace().next().and_then(|first| first.parse::<f64>().ok());
    static START: std::sync::LazyLock<Instant> = std::sync::LazyLock::new(Instant::now);
    nanoseconds.map_or_else(|| START.elapsed().as_secs_f64(), |nanoseconds| nanoseconds / 1e9)
}

/// Largest resident size of this process so far, kB, if the system reports it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()).unwrap_or("0").to_string()
}
