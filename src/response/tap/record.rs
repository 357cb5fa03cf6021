//! A recorded tap: channels of evenly spaced samples, read from the bytes of a file.
//!
//! [`read`] tells by the first bytes what the file is: a wave file, a table of text, or a
//! container that holds compressed sound and has to be converted first.

use super::{table, wave};
use crate::problem::{Place, Problem};

/// The largest file that is read, bytes.
pub const MAX_BYTES: usize = 128 << 20;

/// The most samples that are kept, all channels together.
pub const MAX_SAMPLES: usize = 8 << 20;

/// Samples beyond this magnitude are taken for no numbers, and motion below its inverse for none.
pub(super) const MAX_MAGNITUDE: f64 = 1e30;

/// What the user states about a file beside its content.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stated {
    /// Samples per second, for a table without a time column, Hz.
    pub sample_rate_hz: Option<f64>,
}

/// One channel of a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Its title in the file, or its number.
    pub name: String,
    /// Unit as the file writes it; empty when it says none.
    pub unit: String,
    /// Samples in that unit; of a wave file, in parts of full scale.
    pub samples: Vec<f64>,
}

/// A record: channels of one length at one sample rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// The file as the user named it.
    pub file: String,
    /// Samples per second, Hz.
    pub sample_rate_hz: f64,
    /// At least one, all of one length.
    pub channels: Vec<Channel>,
    /// Frequencies above this are not trusted, Hz: half the sample rate, or less where the
    /// samples were uneven and had to be interpolated.
    pub trusted_to_hz: f64,
    /// Samples before which time is missing.
    pub gaps: Vec<usize>,
    /// What was noticed while reading.
    pub notes: Vec<Problem>,
}

impl Record {
    /// Samples in each channel.
    pub fn len(&self) -> usize {
        self.channels.first().map_or(0, |channel| channel.samples.len())
    }

    /// True when there are no samples.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Length in time, s.
    pub fn duration_s(&self) -> f64 {
        self.len() as f64 / self.sample_rate_hz
    }
}

/// Reads a record from the `bytes` of `file`.
///
/// # Errors
/// Every problem found: an empty, oversized or compressed file, cells that are no numbers, time
/// that runs backwards or too unevenly, no sample rate, fewer samples than a decay needs, a
/// record in which nothing moves.
pub fn read(file: &str, bytes: &[u8], stated: &Stated) -> Result<Record, Vec<Problem>> {
    let stop = |message: String, help: &str| {
        Err(vec![Problem::error(Place::file(file), message).with_help(help.to_string())])
    };
    if let Some(rate) = stated.sample_rate_hz
        && !(rate.is_finite() && rate > 0.0)
    {
        return stop(format!("the stated sample rate is {rate} Hz"), "state a positive rate");
    }
    if bytes.is_empty() {
        return stop("the file is empty".into(), "record the tap as WAV, or export time and signal as CSV");
    }
    if bytes.len() > MAX_BYTES {
        return Err(vec![too_large(file, bytes.len() as u64)]);
    }
    if let Some(container) = container(bytes) {
        return stop(
            format!("the file is {container}, not a wave file or a table"),
            "export it as uncompressed WAV (PCM), or as CSV with time and signal",
        );
    }
    let record =
        if wave::is_wave(bytes) { wave::read(file, bytes)? } else { table::read(file, bytes, stated)? };
    checked(record)
}

/// What is said of a file of `bytes` bytes that is over [`MAX_BYTES`].
pub fn too_large(file: &str, bytes: u64) -> Problem {
    Problem::error(
        Place::file(file),
        format!("the file has {} MB; at most {} MB are read", bytes >> 20, MAX_BYTES >> 20),
    )
    .with_help("cut the record to the seconds around the taps")
}

/// What is said of a record of `samples` when they are too few to hold a decay.
pub(super) fn too_short(file: &str, samples: usize) -> Option<Problem> {
    let message = format!("the record has {samples} samples; a decay needs at least 32");
    let problem = Problem::error(Place::file(file), message)
        .with_help("record from before the tap until it has died away");
    (samples < 32).then_some(problem)
}

/// Refuses what no decay can be read from, and leaves out channels that never move.
fn checked(mut record: Record) -> Result<Record, Vec<Problem>> {
    let place = Place::file(&record.file);
    if let Some(problem) = too_short(&record.file, record.len()) {
        return Err(vec![problem]);
    }
    let dead = |channel: &Channel| {
        channel.samples.windows(2).all(|pair| (pair[0] - pair[1]).abs() < 1.0 / MAX_MAGNITUDE)
    };
    let (still, moving): (Vec<_>, Vec<_>) = record.channels.into_iter().partition(dead);
    if moving.is_empty() {
        return Err(vec![
            Problem::error(place, "the signal is constant: nothing rings in this record")
                .with_help("check that the sensor was connected and the right columns were exported"),
        ]);
    }
    for channel in still {
        record.notes.push(Problem::warning(
            Place { key: channel.name.clone(), ..place.clone() },
            "this channel is constant and was left out",
        ));
    }
    record.channels = moving;
    Ok(record)
}

/// The container whose mark the first bytes carry.
fn container(bytes: &[u8]) -> Option<&'static str> {
    let starts = |mark: &[u8]| bytes.starts_with(mark);
    let at = |offset: usize, mark: &[u8]| bytes.get(offset..).is_some_and(|rest| rest.starts_with(mark));
    let frame_of_mp3 =
        bytes.len() > 3 && bytes[0] == 0xff && bytes[1] & 0xe6 == 0xe2 && bytes[2] & 0xf0 != 0xf0;
    let frame_of_aac = bytes.len() > 3 && bytes[0] == 0xff && bytes[1] & 0xf6 == 0xf0;
    Some(if at(4, b"ftyp") {
        "an MPEG-4 container (m4a, mp4, mov, 3gp)"
    } else if starts(b"ID3") || frame_of_mp3 {
        "MP3 sound"
    } else if frame_of_aac {
        "AAC sound"
    } else if starts(b"OggS") {
        "an Ogg container (ogg, opus)"
    } else if starts(b"caff") {
        "a Core Audio container (caf)"
    } else if starts(b"fLaC") {
        "FLAC sound"
    } else if starts(b"FORM") && (at(8, b"AIFF") || at(8, b"AIFC")) {
        "AIFF sound"
    } else if starts(b"#!AMR") {
        "AMR speech"
    } else if starts(&[0x30, 0x26, 0xb2, 0x75]) {
        "a Windows Media container (wma, wmv)"
    } else if starts(&[0x1a, 0x45, 0xdf, 0xa3]) {
        "a Matroska container (mkv, webm)"
    } else if starts(b"PK\x03\x04") {
        "a zip archive or a spreadsheet (zip, xlsx, ods)"
    } else if starts(&[0x1f, 0x8b]) {
        "a gzip archive"
    } else if starts(&[0xd0, 0xcf, 0x11, 0xe0]) {
        "an old spreadsheet (xls)"
    } else if starts(b"%PDF") {
        "a PDF page"
    } else if starts(b"SQLite format 3") {
        "a database"
    } else if starts(&[0x89, b'P', b'N', b'G']) || starts(&[0xff, 0xd8, 0xff]) {
        "a picture"
    } else {
        return None;
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(bytes: &[u8]) -> String {
        read("tap.bin", bytes, &Stated::default()).unwrap_err()[0].to_string()
    }

    #[test]
    fn containers_are_called_by_name() {
        assert!(refusal(b"\0\0\0\x20ftypM4A \0\0").contains("MPEG-4"));
        assert!(refusal(b"ID3\x04\0\0").contains("MP3"));
        assert!(refusal(&[0xff, 0xfb, 0x90, 0x00]).contains("MP3"));
        assert!(refusal(b"OggS\0").contains("Ogg"));
        assert!(refusal(b"caff\0\x01").contains("Core Audio"));
        assert!(refusal(b"fLaC\0").contains("FLAC"));
        assert!(refusal(b"OggS\0").contains("export it as uncompressed WAV"));
    }

    #[test]
    fn nothing_and_too_much_are_refused() {
        assert!(refusal(b"").contains("empty"));
        assert!(too_large("tap.wav", 200 << 20).to_string().contains("200 MB; at most 128 MB"));
    }

    #[test]
    fn a_still_channel_is_left_out_and_a_still_record_refused() {
        let still: String = (0..64).map(|i| format!("{},9.81\n", i as f64 * 0.01)).collect();
        assert!(refusal(still.as_bytes()).contains("constant"));
        let one: String = (0..64).map(|i| format!("{},9.81,{}\n", i as f64 * 0.01, i % 3)).collect();
        let record = read("a.csv", one.as_bytes(), &Stated::default()).unwrap();
        assert_eq!(record.channels.len(), 1);
        assert!(record.notes.iter().any(|note| note.message.contains("left out")));
    }

    proptest::proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn no_bytes_panic(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
            let _ = read("a", &bytes, &Stated::default());
            let mut wave = b"RIFF\0\0\0\0WAVEfmt ".to_vec();
            wave.extend_from_slice(&bytes);
            let _ = read("a", &wave, &Stated::default());
        }

        #[test]
        fn no_text_panics(text in "[0-9,;. \t\n:eE\"a#-]{0,300}") {
            let _ = read("a", text.as_bytes(), &Stated::default());
        }
    }

    #[test]
    fn one_sample_is_refused() {
        assert!(refusal(b"t,x\n0.0,1.0\n").contains("1 samples; a decay needs at least 32"));
    }
}
