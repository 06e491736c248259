//! In: a described clip and a span of its time. Out: its sound, mixed to one channel.
//!
//! The container's timestamps place every sample, so sound and pictures share one clock;
//! silence fills where sound is missing. Channels are averaged: no level can exceed 1 that
//! did not before. The sample rate is the file's own.

use ffmpeg::format::sample::Sample;
use ffmpeg::{codec, decoder, frame};
use ffmpeg_next as ffmpeg;

use super::container::{self, Container};
use super::error::DecodeError;
use super::{ClipInfo, Sound, TimeBase, Timestamp, ffi};

/// Codecs such as AAC need the packets before to be right: start this much earlier.
const LEAD_IN_S: f64 = 0.25;
/// Timestamps and sample counts drift apart by less than this where nothing is missing.
const HOLE_S: f64 = 0.02;
/// Highest rate and number of channels that make sense.
const MAX_RATE: u32 = 192_000;
const MAX_CHANNELS: usize = 16;

/// Sound of `from_s ..= to_s` in file time; `None` where the clip has none that can be decoded.
///
/// # Errors
/// Where the file can no longer be opened.
pub fn sound(info: &ClipInfo, from_s: f64, to_s: f64) -> Result<Option<Sound>, DecodeError> {
    let mut clip = Container::open(&info.path)?;
    let Some((stream, base, mut decoder)) = open_decoder(&clip) else { return Ok(None) };
    ffi::keep_only(&mut clip.input, stream);
    let mut mix = Mix { from_s, to_s, base, sound: None };
    seek(&mut clip, stream, base, from_s - LEAD_IN_S);
    let mut broken = 0;
    loop {
        let sent = match clip.next_packet(stream, &mut broken) {
            Some(packet) => decoder.send_packet(&packet),
            None => decoder.send_eof(),
        };
        // Damaged packets leave a hole, which is filled with silence.
        let ended = matches!(sent, Err(ffmpeg::Error::Eof));
        let mut frame = frame::Audio::empty();
        let mut state = Ok(());
        while state.is_ok() {
            state = decoder.receive_frame(&mut frame);
            if state.is_ok() && !mix.add(&frame) {
                return Ok(mix.sound);
            }
        }
        if ended || matches!(state, Err(ffmpeg::Error::Eof)) {
            return Ok(mix.sound);
        }
    }
}

fn open_decoder(clip: &Container) -> Option<(usize, TimeBase, decoder::Audio)> {
    let stream = clip.sound_stream()?;
    let base = container::time_base(stream.time_base())?;
    let mut context = codec::Context::from_parameters(stream.parameters()).ok()?;
    // No pictures here, so no limit on pixels is needed beyond "none".
    ffi::prepare(&mut context, stream.time_base(), 1);
    Some((stream.index(), base, context.decoder().audio().ok()?))
}

/// Near enough is good: sound before the span is dropped. A failed seek means from the start.
fn seek(clip: &mut Container, stream: usize, base: TimeBase, to_s: f64) {
    #[expect(clippy::cast_possible_truncation, reason = "a clip's ticks; infinity saturates")]
    let ticks = (to_s * f64::from(base.den.get()) / f64::from(base.num.get())) as i64;
    let _ = ffi::seek(&mut clip.input, stream, ticks);
}

/// The sound gathered so far.
struct Mix {
    from_s: f64,
    to_s: f64,
    base: TimeBase,
    sound: Option<Sound>,
}

impl Mix {
    /// `false` once the span is over.
    #[expect(clippy::cast_precision_loss, reason = "sample counts stay far below 2^53")]
    fn add(&mut self, frame: &frame::Audio) -> bool {
        let rate = frame.rate();
        let Some(ticks) = frame.timestamp().filter(|_| (1..=MAX_RATE).contains(&rate)) else {
            return true;
        };
        let start_s = Timestamp { ticks, base: self.base }.seconds();
        if start_s > self.to_s {
            return false;
        }
        let samples = mono(frame);
        let rate_f = f64::from(rate);
        // First sample at or after `from_s`, one past the last at or before `to_s`.
        let skip = whole(((self.from_s - start_s) * rate_f).ceil(), samples.len());
        let keep = whole(((self.to_s - start_s) * rate_f).floor() + 1.0, samples.len());
        if skip >= keep {
            return true;
        }
        let kept = &samples[skip..keep];
        let kept_s = start_s + skip as f64 / rate_f;
        match &mut self.sound {
            None => self.sound = Some(Sound { rate, start_s: kept_s, samples: kept.to_vec() }),
            Some(sound) if sound.rate == rate => append(sound, kept, kept_s, self.to_s),
            // A change of rate in mid-clip: what came before is what there is.
            Some(_) => return false,
        }
        true
    }
}

/// Appends, with silence where timestamps say that sound is missing.
#[expect(clippy::cast_precision_loss, reason = "sample counts stay far below 2^53")]
fn append(sound: &mut Sound, samples: &[f32], at_s: f64, to_s: f64) {
    let rate = f64::from(sound.rate);
    let end_s = sound.start_s + sound.samples.len() as f64 / rate;
    if at_s > end_s + HOLE_S && at_s <= to_s {
        let silence = whole(((at_s - end_s) * rate).round(), usize::MAX);
        sound.samples.resize(sound.samples.len() + silence, 0.0);
    }
    sound.samples.extend_from_slice(samples);
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped; NaN and negatives give 0"
)]
fn whole(x: f64, most: usize) -> usize {
    (x as usize).min(most)
}

/// Mean of the channels, -1..=1.
fn mono(frame: &frame::Audio) -> Vec<f32> {
    let channels = usize::from(frame.channels());
    let count = frame.samples();
    if channels == 0 || channels > MAX_CHANNELS || count == 0 {
        return Vec::new();
    }
    let Some((width, decode)) = reader(frame.format()) else { return vec![0.0; count] };
    let planar = frame.is_planar();
    let mut sum = vec![0.0_f32; count];
    for channel in 0..channels {
        let (plane, step, offset) =
            if planar { (channel, width, 0) } else { (0, width * channels, width * channel) };
        if plane >= frame.planes() {
            continue;
        }
        let frames = frame.data(plane).chunks_exact(step);
        for (total, bytes) in sum.iter_mut().zip(frames) {
            *total += decode(&bytes[offset..offset + width]);
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "at most MAX_CHANNELS")]
    let share = (channels as f32).recip();
    sum.iter().map(|x| (x * share).clamp(-1.0, 1.0)).collect()
}

type ReadSample = fn(&[u8]) -> f32;

/// Bytes a sample and how to read one; `None` for formats that no decoder gives.
fn reader(format: Sample) -> Option<(usize, ReadSample)> {
    fn array<const N: usize>(bytes: &[u8]) -> [u8; N] {
        bytes.first_chunk().copied().unwrap_or([0; N])
    }
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        reason = "24 bits are kept, below hearing"
    )]
    Some(match format {
        Sample::U8(_) => (1, |b| (f32::from(array::<1>(b)[0]) - 128.0) / 128.0),
        Sample::I16(_) => (2, |b| f32::from(i16::from_ne_bytes(array(b))) / 32_768.0),
        Sample::I32(_) => (4, |b| i32::from_ne_bytes(array(b)) as f32 / 2_147_483_648.0),
        Sample::F32(_) => (4, |b| finite(f32::from_ne_bytes(array(b)))),
        Sample::F64(_) => (8, |b| finite(f64::from_ne_bytes(array(b)) as f32)),
        Sample::None | Sample::I64(_) => return None,
    })
}

/// A damaged file can hold floats that are no numbers.
fn finite(x: f32) -> f32 {
    if x.is_finite() { x } else { 0.0 }
}
