//! Decodes sound in the containers that phones and editors write.
//!
//! A lossless code (FLAC, ALAC, AIFF, wave files in rare codes) is as good as a wave file. A lossy one
//! (AAC, MP3, Vorbis) leaves out what an ear would not hear: strong modes are kept, but weak lines may come
//! from the codec.

use super::record::{Channel, MAX_MAGNITUDE, MAX_SAMPLES, Record};
use stillbed_input::problem::{Place, Problem, Problems};
use symphonia::core::codecs::audio::well_known::{CODEC_ID_AAC, CODEC_ID_MP3, CODEC_ID_VORBIS};
use symphonia::core::errors::Error;
use symphonia::core::formats::TrackType;
use symphonia::core::formats::probe::Hint;
use symphonia::core::io::MediaSourceStream;

/// Reads the default sound track in `bytes`, in parts of full scale.
///
/// # Errors
/// A container or code that is not known, no sound track, a changing number of channels, or too many
/// samples.
pub(super) fn read(file: &str, bytes: &[u8]) -> Result<Record, Problems> {
    // The decoder is known to panic on some broken files.
    std::panic::catch_unwind(|| decode(file, bytes)).unwrap_or_else(|_| {
        let problem = Problem::error(Place::file(file), "the sound in this file is broken beyond decoding");
        Err(Problems::from(problem.with_help("export it once more, as WAV (PCM) or FLAC")))
    })
}

fn decode(file: &str, bytes: &[u8]) -> Result<Record, Problems> {
    let place = || Place::file(file);
    let stop = |message: String| {
        let help = "export it as WAV (PCM), FLAC or m4a, or as CSV with time and signal";
        vec![Problem::error(place(), message).with_help(help)]
    };
    let unknown = |fault: Error| stop(format!("the sound in this file cannot be decoded: {fault}"));
    let source = std::io::Cursor::new(bytes.to_vec());
    let stream = MediaSourceStream::new(Box::new(source), Default::default());
    let probe = symphonia::default::get_probe();
    let mut format =
        probe.probe(&Hint::new(), stream, Default::default(), Default::default()).map_err(unknown)?;
    let track = format.default_track(TrackType::Audio);
    let parameters = track.and_then(|track| Some((track.id, track.codec_params.as_ref()?.audio()?.clone())));
    let Some((id, parameters)) = parameters else {
        return Err(stop("the file holds no track of sound".into()).into());
    };
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(&parameters, &Default::default())
        .map_err(unknown)?;
    let lossy = match parameters.codec {
        CODEC_ID_AAC => Some("AAC"),
        CODEC_ID_MP3 => Some("MP3"),
        CODEC_ID_VORBIS => Some("Vorbis"),
        _ => None,
    };
    let mut channels: Vec<Vec<f64>> = Vec::new();
    let (mut rate, mut bad, mut frames) = (parameters.sample_rate.unwrap_or(0), 0, Vec::<f32>::new());
    // A stream that ends within a packet is read up to there.
    while let Ok(Some(packet)) = format.next_packet() {
        if packet.track_id != id {
            continue;
        }
        match decoder.decode(&packet) {
            Ok(buffer) => {
                let count = buffer.spec().channels().count();
                rate = buffer.spec().rate();
                if channels.is_empty() {
                    channels = vec![Vec::new(); count];
                }
                if count != channels.len() || count == 0 {
                    return Err(stop("the number of channels changes within the record".into()).into());
                }
                frames.resize(buffer.samples_interleaved(), 0.0);
                buffer.copy_to_slice_interleaved(&mut frames);
                for frame in frames.chunks_exact(count) {
                    for (channel, sample) in channels.iter_mut().zip(frame) {
                        let value = f64::from(*sample);
                        channel.push(if value.abs() < MAX_MAGNITUDE { value } else { 0.0 });
                    }
                }
                if channels.iter().map(Vec::len).sum::<usize>() > MAX_SAMPLES {
                    let message =
                        format!("the record has more than {} million samples", MAX_SAMPLES / 1_000_000);
                    let help = "cut it to the seconds around the taps, or export one channel";
                    return Err(Problems::from(Problem::error(place(), message).with_help(help)));
                }
            }
            Err(Error::DecodeError(_)) => bad += 1,
            Err(fault) => return Err(unknown(fault).into()),
        }
    }
    if rate == 0 || channels.is_empty() {
        return Err(stop("the file holds no samples that can be decoded".into()).into());
    }
    let mut notes = Vec::new();
    if let Some(codec) = lossy {
        let message = format!("{codec} leaves out what an ear would not hear: weak lines are not trusted");
        notes.push(Problem::warning(place(), message).with_help("record as WAV or FLAC where losses matter"));
    }
    if bad > 0 {
        let packets = if bad == 1 { "1 packet is".to_string() } else { format!("{bad} packets are") };
        notes.push(Problem::warning(place(), format!("{packets} broken; the rest was read")));
    }
    let several = channels.len() > 1;
    let name = |i: usize| if several { format!("channel {}", i + 1) } else { "sound".to_string() };
    let channel = |(i, samples)| Channel { name: name(i), unit: "full scale".into(), samples };
    Ok(Record {
        file: file.into(),
        sample_rate_hz: f64::from(rate),
        rate_error: 0.0,
        channels: channels.into_iter().enumerate().map(channel).collect(),
        trusted_to_hz: 0.5 * f64::from(rate),
        is_sound: true,
        is_lossy: lossy.is_some(),
        gaps: Vec::new(),
        notes,
    })
}
