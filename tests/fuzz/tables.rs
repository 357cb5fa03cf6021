//! Tables, records and bodies with random changes.

use super::choices::Choices;
use super::{slips, told};
use stillbed::quantity::{self, Kind};
use stillbed::tap::{
    ReadingOptions, RecordOptions, SyntheticMode, SyntheticRecord, SyntheticTap, read_record, read_taps,
    synthesise, to_csv, to_wav,
};

pub const MATERIALS: &str = include_str!("../../data/materials.csv");
pub const STOCK: &str = include_str!("../../data/stock.csv");
pub const FLOOR: &str = "frequency,velocity\nHz,um/s\n1,10\n5,12\n20,40\n80,30\n";

/// The first lines of `text` with up to four changes in its cells and lines.
pub fn changed(choices: &mut Choices, text: &str) -> String {
    let mut lines: Vec<String> = text.lines().take(2 + choices.below(40)).map(str::to_string).collect();
    for _ in 0..=choices.below(4) {
        if lines.is_empty() {
            break;
        }
        let at = choices.below(lines.len());
        match choices.below(8) {
            0 => drop(lines.remove(at)),
            1 => lines.insert(at, lines[at].clone()),
            2 => lines[at] = slips::text(choices, &lines[at]),
            _ => {
                let mut cells: Vec<String> = lines[at].split(',').map(str::to_string).collect();
                let cell = choices.below(cells.len());
                match choices.below(8) {
                    0 => drop(cells.remove(cell)),
                    1 => cells.insert(cell, String::new()),
                    _ => cells[cell] = slips::text(choices, &cells[cell]),
                }
                lines[at] = cells.join(",");
            }
        }
    }
    let end = if choices.once_in(6) { "\r\n" } else { "\n" };
    let mut text = lines.join(end);
    if choices.once_in(10) {
        let separator = *choices.pick(&[';', '\t', ' ']);
        text = text.replace(',', &separator.to_string());
    }
    text
}

/// `bytes` with some overwritten, cut off or added.
pub fn changed_bytes(choices: &mut Choices, bytes: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..choices.below(6) {
        if bytes.is_empty() {
            break;
        }
        // Headers decide most, so they are changed more often.
        let reach = if choices.once_in(2) { bytes.len().min(96) } else { bytes.len() };
        let at = choices.below(reach);
        match choices.below(6) {
            0 => bytes.truncate(at),
            1 => bytes.insert(at, choices.byte()),
            2 => {
                let value =
                    choices.pick(&[0, 1, 2, 255, u32::MAX, i32::MAX as u32, 0x7f80_0000]).to_le_bytes();
                bytes.iter_mut().skip(at).zip(value).for_each(|(own, new)| *own = new);
            }
            _ => bytes[at] = choices.byte(),
        }
    }
    bytes
}

/// Changes a record and reads it, and if that works reads its taps.
pub fn record(choices: &mut Choices) {
    let rate = *choices.pick(&[8.0, 40.0, 90.0, 500.0, 2000.0]);
    let mode = |frequency_hz: f64, loss_factor: f64| SyntheticMode {
        frequency_hz,
        loss_factor,
        rise: 0.0,
        amplitudes: vec![1.0, 0.4],
        phase: 0.3,
    };
    let recipe = SyntheticRecord {
        sample_rate_hz: rate,
        duration_s: 0.5 + 0.25 * f64::from(choices.byte() % 8),
        modes: vec![mode(0.11 * rate, 0.01), mode(0.23 * rate, 0.05)],
        taps: vec![SyntheticTap { time_s: 0.2, strength: 1.0 }],
        noise: 1e-3,
        seed: 1,
        offset: 0.0,
        limit: None,
        step: None,
    };
    let record = synthesise(&recipe).unwrap();
    let (name, bytes) = match choices.once_in(2) {
        true => ("r.wav", to_wav(&record).unwrap_or_default()),
        false => ("r.csv", to_csv(&record).into_bytes()),
    };
    let bytes = match name {
        "r.csv" if choices.once_in(2) => changed(choices, &String::from_utf8_lossy(&bytes)).into_bytes(),
        _ => changed_bytes(choices, &bytes),
    };
    match read_record(name, &bytes, &RecordOptions::default()) {
        Err(problems) => told(&problems),
        Ok(record) => {
            told(&record.notes);
            let range_hz = choices.once_in(3).then_some((0.05 * rate, 0.3 * rate));
            let window_s = choices.once_in(5).then_some(0.1);
            match read_taps(&record, &ReadingOptions { range_hz, window_s, fixed_gain: false }) {
                Err(problems) => told(&problems),
                Ok(found) => assert_eq!(stillbed::report::json::first_not_finite(&found), None),
            }
        }
    }
}

/// A cube of 100 units as STL, as text or binary.
pub fn body(as_text: bool) -> Vec<u8> {
    let corner = |i: usize| [0, 1, 2].map(|axis| if i >> axis & 1 == 1 { 100.0_f32 } else { 0.0 });
    let faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let triangles = faces.iter().flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]);
    let triangles: Vec<[[f32; 3]; 3]> = triangles.map(|t: [usize; 3]| t.map(corner)).collect();
    if as_text {
        let mut text = "solid cube\n".to_string();
        for triangle in &triangles {
            text += "facet normal 0 0 0\nouter loop\n";
            triangle.iter().for_each(|[x, y, z]| text += &format!("vertex {x} {y} {z}\n"));
            text += "endloop\nendfacet\n";
        }
        return (text + "endsolid cube\n").into_bytes();
    }
    let mut bytes = vec![0; 80];
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for triangle in &triangles {
        bytes.extend([0; 12]);
        triangle.iter().flatten().for_each(|x| bytes.extend(x.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

/// Changes quantities as they appear in options and designs, and reads them.
pub fn quantity(choices: &mut Choices) {
    let kinds = [
        Kind::Ratio,
        Kind::Length,
        Kind::Mass,
        Kind::Time,
        Kind::Frequency,
        Kind::Angle,
        Kind::Stress,
        Kind::Stiffness,
        Kind::TurningStiffness,
        Kind::Temperature,
        Kind::TemperatureChange,
        Kind::Film,
    ];
    let kind = *choices.pick(&kinds);
    let (separator, count) = *choices.pick(&[(",", 1), (",", 3), ("x", 2), ("x", 4), ("to", 2)]);
    let mut text = quantity::example(kind, separator, count).to_string();
    for _ in 0..choices.below(4) {
        text = slips::text(choices, &text);
    }
    let [least, most] = kind.served();
    let served = |values: Vec<f64>| {
        let is_served = |v: &f64| *v == 0.0 || (least..=most).contains(&v.abs());
        assert!(values.iter().all(is_served), "\"{text}\" is {values:?}");
    };
    let said = |fault: quantity::Fault| assert!(!fault.message.is_empty() && !fault.help.is_empty());
    quantity::single(&text, kind).map(|value| vec![value]).map_or_else(said, served);
    quantity::list(&text, kind, count).map_or_else(said, served);
    quantity::size(&text, kind, count).map_or_else(said, served);
    quantity::range(&text, kind).map(|(low, high)| vec![low, high]).map_or_else(said, served);
    quantity::ratio(&text).map_or_else(said, |(a, b)| assert!(a > 0.0 && b > 0.0));
}
