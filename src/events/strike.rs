//! In: sound, file time. Out: sharp clicks, real time at the ball, with their loudness.
//! A click is not always the strike: whoever uses them compares with the hands.
//!
//! Onset = energy of the differenced sound (a click is broadband, speech and wind are not)
//! in 1 ms steps that jumps above its own recent background. The sound's way to the phone
//! is taken off. Stretched sound is not used: it is resampled, cut or missing.

use super::Events;
use crate::decode::{Clock, Sound};
use crate::units::Seconds;

const SOUND_SPEED: f64 = Events::SOUND_SPEED;
/// Phone to ball, metres.
const DISTANCE: f64 = Events::HEARD_FROM_M;
const DISTANCE_SD: f64 = 1.0;
/// Phones and encoders let sound and picture slip by some milliseconds: onset, time base of
/// the sound, the picture's exposure. An assumption, no source.
const SYNC_SD: f64 = 0.004;
/// Length of a step, seconds.
const STEP: f64 = 0.001;
/// Background: median of the steps in the last 150 ms.
const BACKGROUND: usize = 150;
/// Energy over background that makes a click: 15 dB.
const JUMP: f64 = 30.0;
/// After a click its echo and the ball's way into a net count for nothing, steps.
const DEAF: usize = 80;
/// The onset is where the click first reaches this share of its peak.
const ONSET: f64 = 0.3;

/// A click in the sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strike {
    /// When it happened at the ball, real time.
    pub time: Seconds,
    /// dB above the background.
    pub loudness: f64,
}

impl Strike {
    /// Of `time`, seconds.
    #[must_use]
    pub fn sd() -> f64 {
        (DISTANCE_SD / SOUND_SPEED).hypot(SYNC_SD)
    }
}

/// Clicks in time order; none when the clip is stretched.
#[must_use]
pub fn find_strikes(sound: &Sound, clock: &Clock) -> Vec<Strike> {
    let rate = f64::from(sound.rate);
    if (clock.stretch - 1.0).abs() > 0.01 || rate < 4000.0 {
        return Vec::new();
    }
    let sharp: Vec<f64> =
        sound.samples.windows(2).map(|w| f64::from(w[1]) - f64::from(w[0])).collect();
    let length = step_samples(rate);
    let energy: Vec<f64> =
        sharp.chunks(length).map(|c| c.iter().map(|x| x * x).sum::<f64>()).collect();
    jumps(&energy)
        .into_iter()
        .map(|(step, loudness)| {
            let onset = onset(&sharp, step * length, length);
            let file_s = sound.start_s + seconds(onset + 1, rate);
            let time = Seconds(clock.real(file_s) - DISTANCE / SOUND_SPEED);
            Strike { time, loudness }
        })
        .collect()
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rate is 4e3..5e9")]
fn step_samples(rate: f64) -> usize {
    (rate * STEP).round() as usize
}

#[expect(clippy::cast_precision_loss, reason = "a clip's samples stay far below 2^53")]
fn seconds(samples: usize, rate: f64) -> f64 {
    samples as f64 / rate
}

/// Steps whose energy jumps, with dB above the background.
fn jumps(energy: &[f64]) -> Vec<(usize, f64)> {
    let loudest = energy.iter().copied().fold(0.0, f64::max);
    // Digital silence: nothing 60 dB below the loudest moment is heard.
    let floor = loudest * 1e-6;
    let mut found: Vec<(usize, f64)> = Vec::new();
    for k in 2..energy.len() {
        let deaf = found.last().is_some_and(|&(last, _)| k < last + DEAF);
        let rise = energy[k] > 4.0 * energy[k - 2].max(floor);
        if deaf || !rise || energy[k] < JUMP * floor {
            continue;
        }
        let past = &energy[k.saturating_sub(BACKGROUND)..k - 1];
        let background = crate::signal::median(past).unwrap_or(0.0).max(floor);
        let peak = energy[k..energy.len().min(k + 4)].iter().copied().fold(0.0, f64::max);
        if background > 0.0 && energy[k] > JUMP * background {
            found.push((k, 10.0 * (peak / background).log10()));
        }
    }
    found
}

/// First sample of the click that begins in the step at `from` or just before.
fn onset(sharp: &[f64], from: usize, length: usize) -> usize {
    let (start, end) = (from.saturating_sub(length), (from + 3 * length).min(sharp.len()));
    let peak = sharp[start..end].iter().map(|x| x.abs()).fold(0.0, f64::max);
    (start..end).find(|&i| sharp[i].abs() >= ONSET * peak).unwrap_or(from)
}

#[cfg(test)]
mod tests {
    use super::super::synthetic::{add_click, noise};
    use super::*;

    const CLOCK: Clock = Clock { first_s: 0.5, stretch: 1.0 };

    fn at_ball(file_s: f64) -> f64 {
        file_s - 0.5 - DISTANCE / SOUND_SPEED
    }

    #[test]
    fn clicks_are_found_to_the_millisecond_in_noise() {
        for rate in [16_000, 44_100, 48_000] {
            let mut sound = noise(rate, 3.0, 0.01);
            add_click(&mut sound, 1.2345, 0.4);
            add_click(&mut sound, 2.5, 0.2);
            let found = find_strikes(&sound, &CLOCK);
            assert_eq!(found.len(), 2, "{found:?}");
            assert!((found[0].time.0 - at_ball(1.2345)).abs() < 0.001, "{found:?}");
            assert!((found[1].time.0 - at_ball(2.5)).abs() < 0.001);
            assert!(found[0].loudness > found[1].loudness);
        }
    }

    #[test]
    fn noise_silence_a_hum_and_stretched_sound_have_no_clicks() {
        assert!(find_strikes(&noise(44_100, 3.0, 0.05), &CLOCK).is_empty());
        assert!(find_strikes(&noise(44_100, 3.0, 0.0), &CLOCK).is_empty());
        let empty = Sound { rate: 48_000, start_s: 0.0, samples: vec![] };
        assert!(find_strikes(&empty, &CLOCK).is_empty());
        let mut hum = noise(44_100, 3.0, 0.001);
        for (i, s) in hum.samples.iter_mut().enumerate() {
            let t = f64::from(u32::try_from(i).unwrap()) / 44_100.0;
            *s += (0.2 * (600.0 * t).sin() * (3.0 * t).sin()) as f32;
        }
        assert!(find_strikes(&hum, &CLOCK).is_empty());
        let mut struck = noise(44_100, 3.0, 0.01);
        add_click(&mut struck, 1.0, 0.5);
        assert!(find_strikes(&struck, &Clock { first_s: 0.0, stretch: 8.0 }).is_empty());
    }
}
