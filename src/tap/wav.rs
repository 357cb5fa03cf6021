//! Reads a wave file (RIFF): whole numbers of 8 to 32 bits or floating point, any number of channels.
//!
//! The chunks are walked by hand, because recorders that are cut off leave the sizes open: what is there
//! is read, with a warning about what is missing.
//!
//! # Source
//! - `riff1991`: the `fmt ` and `data` chunks; whole numbers of up to 8 bits are unsigned

use super::record::{Channel, MAX_MAGNITUDE, MAX_SAMPLES, Record};
use stillbed_input::problem::{Place, Problem, Problems};

/// True when the bytes begin as a wave file does.
pub(super) fn is_wave(bytes: &[u8]) -> bool {
    bytes.len() >= 12 && matches!(&bytes[..4], b"RIFF" | b"RF64" | b"BW64") && &bytes[8..12] == b"WAVE"
}

/// How the samples are encoded.
#[derive(Clone, Copy)]
struct Format {
    float: bool,
    channels: usize,
    rate: u32,
    bytes_per_sample: usize,
}

/// Reads a wave file, with samples in parts of full scale.
pub(super) fn read(file: &str, bytes: &[u8]) -> Result<Record, Problems> {
    let stop = |message: String, help: &str| {
        Err(Problems::from(Problem::error(Place::file(file), message).with_help(help.to_string())))
    };
    let mut format = None;
    let mut at = 12;
    let (data, missing) = loop {
        let (Some(name), Some(size)) = (bytes.get(at..at + 4), word(bytes, at + 4)) else {
            return stop("the wave file has no samples".into(), "record again, or export it once more");
        };
        let body = &bytes[at + 8..];
        let size = size as usize;
        match name {
            b"fmt " => format = Some(parse_format(file, &body[..size.min(body.len())])?),
            b"data" => {
                let open = size == 0 || size >= u32::MAX as usize - 8;
                let there = if open { body.len() } else { size.min(body.len()) };
                break (&body[..there], if open { 0 } else { size - there });
            }
            _ => {}
        }
        at += 8 + size + size % 2;
    };
    let Some(format) = format else {
        return stop("the wave file does not say how its samples are written".into(), "export it once more");
    };
    let frame = format.channels * format.bytes_per_sample;
    let frames = data.len() / frame;
    if frames * format.channels > MAX_SAMPLES {
        return stop(
            format!(
                "the record has {} million samples; at most {} million are read",
                frames * format.channels / 1_000_000,
                MAX_SAMPLES / 1_000_000
            ),
            "cut it to the seconds around the taps, or export one channel",
        );
    }
    let mut channels: Vec<Channel> = (1..=format.channels)
        .map(|number| Channel {
            name: if format.channels == 1 { "sound".into() } else { format!("channel {number}") },
            unit: "full scale".into(),
            samples: Vec::with_capacity(frames),
        })
        .collect();
    let mut bad = 0;
    for frame in data.chunks_exact(frame) {
        for (channel, sample) in channels.iter_mut().zip(frame.chunks_exact(format.bytes_per_sample)) {
            let value = decode(sample, format.float);
            let number = value.abs() < MAX_MAGNITUDE;
            bad += usize::from(!number);
            channel.samples.push(if number { value } else { 0.0 });
        }
    }
    if bad > 0 {
        return stop(format!("{bad} samples of the wave file are no numbers"), "export it once more");
    }
    let mut notes = Vec::new();
    if missing > 0 {
        notes.push(Problem::warning(
            Place::file(file),
            format!("the file is cut off: {missing} bytes are missing at its end; the rest was read"),
        ));
    }
    let rate = f64::from(format.rate);
    Ok(Record {
        file: file.into(),
        sample_rate_hz: rate,
        channels,
        rate_error: 0.0,
        trusted_to_hz: 0.5 * rate,
        is_sound: true,
        is_lossy: false,
        gaps: Vec::new(),
        notes,
    })
}

fn parse_format(file: &str, body: &[u8]) -> Result<Format, Problems> {
    let stop = |message: String| {
        Err(Problems::from(
            Problem::error(Place::file(file), message)
                .with_help("export it as uncompressed WAV (PCM) of 16 or 24 bits"),
        ))
    };
    let (Some(tag), Some(channels), Some(rate), Some(bits)) =
        (half(body, 0), half(body, 2), word(body, 4), half(body, 14))
    else {
        return stop("the wave file's head is cut off".into());
    };
    // An extensible header carries the true tag in the first two bytes of its sub-format.
    let tag = if tag == 0xfffe { half(body, 24).unwrap_or(tag) } else { tag };
    let float = match tag {
        1 => false,
        3 => true,
        _ => return stop(format!("the wave file is compressed (format {tag})")),
    };
    let bytes_per_sample = match half(body, 12) {
        Some(align) if channels > 0 && align % channels == 0 && align > 0 => usize::from(align / channels),
        _ => usize::from(bits.div_ceil(8)),
    };
    let known = if float { matches!(bytes_per_sample, 4 | 8) } else { (1..=4).contains(&bytes_per_sample) };
    if channels == 0 || rate == 0 || !known {
        return stop(format!(
            "the wave file states {channels} channels, {rate} Hz and {bits} bits, which cannot be read"
        ));
    }
    Ok(Format { float, channels: channels.into(), rate, bytes_per_sample })
}

/// One sample in parts of full scale.
fn decode(sample: &[u8], float: bool) -> f64 {
    match (float, sample) {
        (true, &[a, b, c, d]) => f64::from(f32::from_le_bytes([a, b, c, d])),
        (true, &[a, b, c, d, e, f, g, h]) => f64::from_le_bytes([a, b, c, d, e, f, g, h]),
        (false, &[a]) => (f64::from(a) - 128.0) / 128.0,
        (false, &[a, b]) => f64::from(i16::from_le_bytes([a, b])) / 32768.0,
        (false, &[a, b, c]) => f64::from(i32::from_le_bytes([0, a, b, c])) / 2147483648.0,
        (false, &[a, b, c, d]) => f64::from(i32::from_le_bytes([a, b, c, d])) / 2147483648.0,
        _ => f64::NAN,
    }
}

fn half(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..at + 2).and_then(|b| b.try_into().ok()).map(u16::from_le_bytes)
}

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..at + 4).and_then(|b| b.try_into().ok()).map(u32::from_le_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wave file made by another writer.
    fn written(bits: u16, float: bool, channels: u16) -> Vec<u8> {
        let spec = hound::WavSpec {
            channels,
            sample_rate: 8000,
            bits_per_sample: bits,
            sample_format: if float { hound::SampleFormat::Float } else { hound::SampleFormat::Int },
        };
        let mut bytes = std::io::Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
        for i in 0..100 {
            for channel in 0..channels {
                let value = (0.05 * f64::from(i)).sin() * 0.5 / f64::from(channel + 1);
                if float {
                    writer.write_sample(value as f32).unwrap();
                } else {
                    writer.write_sample((value * 2f64.powi(i32::from(bits) - 1)).round() as i32).unwrap();
                }
            }
        }
        writer.finalize().unwrap();
        bytes.into_inner()
    }

    #[test]
    fn every_width_gives_the_same_samples() {
        for (bits, float) in [(8, false), (16, false), (24, false), (32, false), (32, true)] {
            let record = read("a.wav", &written(bits, float, 2)).unwrap();
            assert_eq!((record.channels.len(), record.len(), record.sample_rate_hz), (2, 100, 8000.0));
            let quantum = if float { 1e-6 } else { 2f64.powi(1 - i32::from(bits)) };
            for (i, (a, b)) in record.channels[0].samples.iter().zip(&record.channels[1].samples).enumerate()
            {
                let want = (0.05 * i as f64).sin() * 0.5;
                assert!(
                    (a - want).abs() <= quantum && (b - want / 2.0).abs() <= quantum,
                    "{bits} bits at {i}"
                );
            }
        }
    }

    #[test]
    fn a_cut_file_is_read_as_far_as_it_goes() {
        let bytes = written(16, false, 1);
        let record = read("a.wav", &bytes[..bytes.len() - 50]).unwrap();
        assert_eq!(record.len(), 75);
        assert!(record.notes[0].message.contains("50 bytes are missing"));
    }

    #[test]
    fn an_open_size_means_to_the_end() {
        let mut bytes = written(16, false, 1);
        let at = bytes.windows(4).position(|w| w == b"data").unwrap();
        bytes[at + 4..at + 8].copy_from_slice(&u32::MAX.to_le_bytes());
        assert_eq!(read("a.wav", &bytes).unwrap().len(), 100);
    }

    #[test]
    fn a_compressed_or_broken_head_is_refused() {
        let mut bytes = written(16, false, 1);
        bytes[20] = 2;
        assert!(read("a.wav", &bytes).unwrap_err()[0].message.contains("compressed (format 2)"));
        assert!(read("a.wav", &bytes[..20]).is_err());
        assert!(read("a.wav", b"RIFF\0\0\0\0WAVE").is_err());
    }
}
