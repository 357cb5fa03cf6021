//! From the bytes of a file to a record, whatever its format.
//!
//! [`read_record`] recognises the kind of file by its first bytes: a wave file, sound in another container, a
//! spreadsheet, or a text table.

use super::record::{Channel, MAX_BYTES, MAX_MAGNITUDE, Record, RecordOptions, too_large, too_short};
use super::{sound, spreadsheet, table, wav};
use stillbed_input::problem::{Place, Problem, Problems};

/// Reads a record from the `bytes` of `file`.
///
/// ```
/// use stillbed_tap::{RecordOptions, read_record};
///
/// let rows = (0..100).map(|i| format!("{},{}\n", 5 * i, i % 7));
/// let table = format!("time (ms),x (m/s2)\n{}", rows.collect::<String>());
/// let record = read_record("tap.csv", table.as_bytes(), &RecordOptions::default())?;
/// assert!((record.sample_rate_hz - 200.0).abs() < 1e-6);
/// assert_eq!(record.channels[0].unit, "m/s2");
/// # Ok::<(), Vec<stillbed_input::problem::Problem>>(())
/// ```
///
/// # Errors
/// Every problem found: an empty, oversized or compressed file, cells that are no numbers, time
/// that runs backwards or too unevenly, no sample rate, fewer samples than a decay needs, a
/// record in which nothing moves.
pub fn read_record(file: &str, bytes: &[u8], stated: &RecordOptions) -> Result<Record, Problems> {
    let stop = |message: String, help: &str| {
        Err(Problems::from(Problem::error(Place::file(file), message).with_help(help.to_string())))
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
        return Err(Problems::from(too_large(file, bytes.len() as u64)));
    }
    let record = match container(bytes) {
        Some(Container::Sound) => sound::read(file, bytes)?,
        Some(Container::Sheet) => {
            let (text, notes) = spreadsheet::text(file, bytes)?;
            let mut record = table::read(file, text.as_bytes(), stated)?;
            record.notes.splice(0..0, notes);
            record
        }
        Some(Container::Other(what)) => {
            return stop(
                format!("the file is {what}, neither sound nor a table"),
                "export it as WAV, FLAC or m4a, or as CSV or xlsx with time and signal",
            );
        }
        None if wav::is_wave(bytes) => {
            // Encodings other than plain numbers are left to the decoder.
            wav::read(file, bytes).or_else(|plain| sound::read(file, bytes).map_err(|_| plain))?
        }
        None => table::read(file, bytes, stated)?,
    };
    checked(record)
}

/// Refuses a record that is too short or constant, and leaves out constant channels.
fn checked(mut record: Record) -> Result<Record, Problems> {
    let place = Place::file(&record.file);
    if let Some(problem) = too_short(&record.file, record.len()) {
        return Err(Problems::from(problem));
    }
    let dead = |channel: &Channel| {
        channel.samples.windows(2).all(|pair| (pair[0] - pair[1]).abs() < 1.0 / MAX_MAGNITUDE)
    };
    let (still, moving): (Vec<_>, Vec<_>) = record.channels.into_iter().partition(dead);
    if moving.is_empty() {
        return Err(Problems::from(
            Problem::error(place, "the signal is constant: nothing rings in this record")
                .with_help("check that the sensor was connected and the right columns were exported"),
        ));
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

/// Kind of a file that is neither a wave file nor text.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Container {
    /// Sound that can be decoded.
    Sound,
    /// A spreadsheet.
    Sheet,
    /// Something else, in words.
    Other(&'static str),
}

/// The container whose signature the first bytes carry.
fn container(bytes: &[u8]) -> Option<Container> {
    let starts = |mark: &[u8]| bytes.starts_with(mark);
    let at = |offset: usize, mark: &[u8]| bytes.get(offset..).is_some_and(|rest| rest.starts_with(mark));
    let frame_of_mp3 =
        bytes.len() > 3 && bytes[0] == 0xff && bytes[1] & 0xe6 == 0xe2 && bytes[2] & 0xf0 != 0xf0;
    let frame_of_aac = bytes.len() > 3 && bytes[0] == 0xff && bytes[1] & 0xf6 == 0xf0;
    let is_opus = || bytes.get(..256).unwrap_or(bytes).windows(8).any(|part| part == b"OpusHead");
    Some(if starts(b"OggS") && is_opus() {
        Container::Other("Opus sound")
    } else if at(4, b"ftyp")
        || starts(b"ID3")
        || frame_of_mp3
        || frame_of_aac
        || starts(b"OggS")
        || starts(b"fLaC")
        || starts(b"FORM") && (at(8, b"AIFF") || at(8, b"AIFC"))
    {
        Container::Sound
    } else if starts(b"PK\x03\x04") || starts(&[0xd0, 0xcf, 0x11, 0xe0]) {
        Container::Sheet
    } else if starts(b"caff") {
        Container::Other("a Core Audio container (caf)")
    } else if starts(b"#!AMR") {
        Container::Other("AMR speech")
    } else if starts(&[0x30, 0x26, 0xb2, 0x75]) {
        Container::Other("a Windows Media container (wma, wmv)")
    } else if starts(&[0x1a, 0x45, 0xdf, 0xa3]) {
        Container::Other("a Matroska container (mkv, webm)")
    } else if starts(&[0x1f, 0x8b]) {
        Container::Other("a gzip archive")
    } else if starts(b"%PDF") {
        Container::Other("a PDF page")
    } else if starts(b"SQLite format 3") {
        Container::Other("a database")
    } else if starts(&[0x89, b'P', b'N', b'G']) || starts(&[0xff, 0xd8, 0xff]) {
        Container::Other("a picture")
    } else {
        return None;
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(bytes: &[u8]) -> String {
        read_record("tap.bin", bytes, &RecordOptions::default()).unwrap_err()[0].to_string()
    }

    /// The same two taps at 240 and 610 Hz, losses 0.012 and 0.008, in every container.
    fn made(name: &str) -> Record {
        let path = format!("{}/../../tests/records/sounds/{name}", env!("CARGO_MANIFEST_DIR"));
        read_record(name, &std::fs::read(path).unwrap(), &RecordOptions::default()).unwrap()
    }

    #[test]
    fn sound_is_read_from_what_phones_and_editors_write() {
        use super::super::reading::{ReadingOptions, read_taps};
        for (name, lossy) in [
            ("tap.m4a", true),
            ("tap.mp3", true),
            ("tap.ogg", true),
            ("tap.flac", false),
            ("alac.m4a", false),
            ("tap.aiff", false),
            ("adpcm.wav", false),
            ("mulaw.wav", false),
        ] {
            let record = made(name);
            assert_eq!(record.is_lossy, lossy, "{name}");
            let reading = read_taps(&record, &ReadingOptions::default()).unwrap();
            for (f, loss) in [(240.0, 0.012), (610.0, 0.008)] {
                let near =
                    |mode: &&super::super::MeasuredMode| (mode.frequency_hz.value / f - 1.0).abs() < 2e-3;
                let mode = reading.modes.iter().find(near).unwrap_or_else(|| panic!("{name}: no {f} Hz"));
                let stated = mode.loss_factor.unwrap_or_else(|| panic!("{name}: no loss at {f} Hz"));
                let within = 0.93 * stated.low < loss && loss < 1.07 * stated.high;
                assert!(within, "{name}: {stated:?} for {loss}");
            }
        }
    }

    #[test]
    fn a_spreadsheet_is_a_table() {
        let mut book = rust_xlsxwriter::Workbook::new();
        let notes = book.add_worksheet();
        notes.set_name("notes").unwrap();
        notes.write(0, 0, "made on the bench").unwrap();
        let sheet = book.add_worksheet();
        sheet.write(0, 0, "Time (ms)").unwrap();
        sheet.write(0, 1, "a (m/s2)").unwrap();
        for i in 0..200_u32 {
            sheet.write(i + 1, 0, f64::from(i) * 2.5).unwrap();
            sheet.write(i + 1, 1, (0.3 * f64::from(i)).sin()).unwrap();
        }
        let record =
            read_record("a.xlsx", &book.save_to_buffer().unwrap(), &RecordOptions::default()).unwrap();
        approx::assert_relative_eq!(record.sample_rate_hz, 400.0, max_relative = 1e-6);
        assert_eq!((record.len(), record.channels[0].unit.as_str()), (200, "m/s2"));
        approx::assert_relative_eq!(record.channels[0].samples[7], (0.3f64 * 7.0).sin(), max_relative = 1e-9);
        assert!(record.notes[0].message.contains("one of 2"), "{}", record.notes[0]);
    }

    #[test]
    fn what_cannot_be_read_is_called_by_name() {
        assert!(refusal(b"OggS\0\x02\0\0OpusHead").contains("Opus sound, neither sound nor a table"));
        assert!(refusal(b"#!AMR\n").contains("AMR speech"));
        assert!(refusal(b"\0\0\0\x20ftypM4A \0\0").contains("cannot be decoded"));
        assert!(refusal(b"PK\x03\x04").contains("no spreadsheet"));
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
        let record = read_record("a.csv", one.as_bytes(), &RecordOptions::default()).unwrap();
        assert_eq!(record.channels.len(), 1);
        assert!(record.notes.iter().any(|note| note.message.contains("left out")));
    }

    proptest::proptest! {
        #![proptest_config(crate::seeds::cases(256))]

        #[test]
        fn no_bytes_panic(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
            let _ = read_record("a", &bytes, &RecordOptions::default());
            let mut wave = b"RIFF\0\0\0\0WAVEfmt ".to_vec();
            wave.extend_from_slice(&bytes);
            let _ = read_record("a", &wave, &RecordOptions::default());
            for head in [&b"\0\0\0\x20ftypM4A "[..], b"ID3\x04\0\0", b"OggS\0\x02", b"fLaC\0\0\0\x22", b"PK\x03\x04"] {
                let mut file = head.to_vec();
                file.extend_from_slice(&bytes);
                let _ = read_record("a", &file, &RecordOptions::default());
            }
        }

        #[test]
        fn no_broken_sound_panics(
            file in 0..8_usize,
            flips in proptest::collection::vec((0.0..1.0_f64, proptest::prelude::any::<u8>()), 1..12),
            kept in 0.2..1.0_f64,
        ) {
            let names = [
                "tap.m4a", "tap.mp3", "tap.ogg", "tap.flac", "alac.m4a", "tap.aiff", "adpcm.wav",
                "mulaw.wav",
            ];
            let path = format!("{}/../../tests/records/sounds/{}", env!("CARGO_MANIFEST_DIR"), names[file]);
            let mut bytes = std::fs::read(path).unwrap();
            bytes.truncate((bytes.len() as f64 * kept.sqrt()) as usize);
            for (place, byte) in flips {
                // Most of what can go wrong is in the first hundred bytes.
                let place = if place < 0.1 { place * 1000.0 } else { place * bytes.len() as f64 };
                let at = (place as usize).min(bytes.len() - 1);
                bytes[at] = byte;
            }
            let _ = read_record("a", &bytes, &RecordOptions::default());
        }

        #[test]
        fn no_text_panics(text in "[0-9,;. \t\n:eE\"a#-]{0,300}") {
            let _ = read_record("a", text.as_bytes(), &RecordOptions::default());
        }
    }

    #[test]
    fn one_sample_is_refused() {
        assert!(refusal(b"t,x\n0.0,1.0\n").contains("1 samples; a decay needs at least 32"));
    }
}
