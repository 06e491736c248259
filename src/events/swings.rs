//! In: the hands of a coarse scan, pixels (or of all frames). Out: the stretches that look
//! like a golf swing, and the one to measure. Seconds of whatever time the samples carry.
//!
//! Seen from any side the height of the hands tells a swing: low at address, high at the
//! top, low through the ball *at speed*, high again. Turning points of the height are
//! found as in rainflow counting (a turn counts once the height has gone back by
//! [`TURN`]). No test uses a duration, so that stretched slow motion is found as well.

use super::EventsError;
use super::strike::Strike;
use crate::track::HandSample;
use crate::units::Seconds;
use crate::warning::{Warned, Warning};

/// A turn of the hands' height counts when they go back by this many statures. A waggle
/// moves the hands less, a half swing more (common practice, no source).
const TURN: f64 = 0.15;
/// And this many where there must be a swing.
const SMALL_TURN: f64 = 0.08;
/// Through the lower half of a swing the hands' mean speed is at least this share of their
/// greatest. Seen down the line they stop for a moment in the picture, but only for a moment;
/// when they hang at address between two swings it is far less.
const FAST_BOTTOM: f64 = 0.3;
/// Going up through the middle half of the height takes at least this share of the time of
/// coming down. A swing: about three times as long; the club lowered from the finish of
/// another swing: the way up to that finish took a third or less.
const UP_OVER_DOWN: f64 = 0.5;
/// A swing this much weaker than the strongest is not a full one.
const FULL: f64 = 0.5;
/// Between the hands' rough impact and a strike in the sound, seconds: the scan's spacing
/// of about 0.08 s and the lead of the hands' low point.
const STRIKE_NEAR: f64 = 0.2;

/// A candidate swing, times rough.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwingSpan {
    /// Hands leave the low position.
    pub start: Seconds,
    pub top: Seconds,
    pub impact: Seconds,
    /// Hands high again, or the last sample.
    pub finish: Seconds,
    /// Greatest speed of the hands times the height they fall, statures^2 / s.
    pub strength: f64,
    /// The clip shows the hands low before and high after.
    pub complete: bool,
}

impl SwingSpan {
    /// Stretch of real time to look at frame by frame: a still address of at least a second
    /// and a half before the rough start, and the body coming to rest.
    #[must_use]
    pub fn window(&self) -> (Seconds, Seconds) {
        let start = (self.top.0 - 2.5).min(self.start.0 - 1.0).max(0.0);
        (Seconds(start), Seconds(self.finish.0 + 0.8))
    }

    #[must_use]
    pub fn backswing(&self) -> f64 {
        self.top.0 - self.start.0
    }

    #[must_use]
    pub fn downswing(&self) -> f64 {
        self.impact.0 - self.top.0
    }
}

/// The swings, in time order, of somebody who is known to swing: the hands of some hardly go down in
/// the picture, and what was just enough for [`crate::track::choose`] may just not be here.
#[must_use]
pub fn find_swings(hands: &[HandSample]) -> Vec<SwingSpan> {
    let spans = find(hands, TURN);
    if spans.is_empty() { find(hands, SMALL_TURN) } else { spans }
}

fn find(hands: &[HandSample], turn: f64) -> Vec<SwingSpan> {
    let Some(path) = Path::new(hands) else { return Vec::new() };
    let turns = path.turns(turn);
    (0..turns.len()).filter_map(|i| path.swing(&turns, i)).collect()
}

/// The swing to measure: the one with a strike in the sound that agrees with the hands,
/// else the last full one. Strikes: those of [`super::find_strikes`].
pub fn pick(spans: &[SwingSpan], strikes: &[Strike]) -> Result<Warned<SwingSpan>, EventsError> {
    let greatest = spans.iter().map(|s| s.strength).fold(0.0, f64::max);
    let full: Vec<&SwingSpan> = spans.iter().filter(|s| s.strength >= FULL * greatest).collect();
    let last = full.last().ok_or(EventsError::NoSwing)?;
    let loudness = |span: &SwingSpan| {
        let near = strikes.iter().filter(|s| (s.time.0 - span.impact.0).abs() < STRIKE_NEAR);
        near.map(|s| s.loudness).fold(0.0, f64::max)
    };
    let struck = full
        .iter()
        .filter(|s| loudness(s) > 0.0)
        .max_by(|a, b| loudness(a).total_cmp(&loudness(b)));
    let chosen = **struck.unwrap_or(last);
    let mut warnings = Vec::new();
    if full.len() > 1 {
        let why = if struck.is_some() {
            "the one with a strike in the sound"
        } else {
            "the last one, no strike was heard"
        };
        warnings.push(Warning::new(format!(
            "The clip shows {} swings; measured is the one with its top near {:.1} s: {why}.",
            full.len(),
            chosen.top.0
        )));
    }
    Ok(Warned { output: chosen, warnings })
}

/// Hands in statures, v up.
struct Path {
    t: Vec<f64>,
    u: Vec<f64>,
    v: Vec<f64>,
}

impl Path {
    fn new(hands: &[HandSample]) -> Option<Self> {
        let mut seen: Vec<&HandSample> = hands
            .iter()
            .filter(|h| h.time.0.is_finite() && h.hands.x.is_finite() && h.hands.y.is_finite())
            .collect();
        seen.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
        seen.dedup_by(|a, b| a.time == b.time);
        let sizes: Vec<f64> = seen.iter().map(|h| h.size_px).collect();
        let size = crate::signal::median(&sizes).filter(|s| *s > 0.0)?;
        Some(Self {
            t: seen.iter().map(|h| h.time.0).collect(),
            u: seen.iter().map(|h| h.hands.x / size).collect(),
            v: seen.iter().map(|h| -h.hands.y / size).collect(),
        })
    }

    /// Indices of the alternating lows and highs, the last extreme of the clip included.
    fn turns(&self, least: f64) -> Vec<usize> {
        let v = &self.v;
        let mut turns = Vec::new();
        let mut rising = None;
        let (mut low, mut high) = (0, 0);
        for i in 0..v.len() {
            low = if v[i] < v[low] { i } else { low };
            high = if v[i] > v[high] { i } else { high };
            if rising != Some(true) && v[i] - v[low] > least {
                turns.push(low);
                (rising, high) = (Some(true), i);
            } else if rising != Some(false) && v[high] - v[i] > least {
                turns.push(high);
                (rising, low) = (Some(false), i);
            }
        }
        match rising {
            Some(true) => turns.push(high),
            Some(false) => turns.push(low),
            None => {}
        }
        turns
    }

    /// The swing whose top is turn `i`, if it is one.
    fn swing(&self, turns: &[usize], i: usize) -> Option<SwingSpan> {
        let (top, bottom) = (turns[i], *turns.get(i + 1)?);
        let fall = self.v[top] - self.v[bottom];
        if fall <= 0.0 {
            return None;
        }
        let before = i.checked_sub(1).map(|k| turns[k]);
        let after = turns.get(i + 2).copied();
        let end = after.unwrap_or(bottom);
        let start = before.map_or(0, |low| self.leaves(low, top));
        let peak = self.fastest(top, end, 0.6 * (self.t[bottom] - self.t[top]));
        let bottom_fast = self.through(top, bottom, end) >= FAST_BOTTOM * peak;
        let down_fast =
            before.is_none_or(|low| self.rise(low, top) > UP_OVER_DOWN * self.fall(top, bottom));
        let shown = match (before, after) {
            (_, Some(_)) => bottom_fast,
            (Some(_), None) => true,
            (None, None) => false,
        };
        (shown && down_fast).then(|| SwingSpan {
            start: Seconds(self.t[start]),
            top: Seconds(self.t[top]),
            impact: Seconds(self.t[bottom]),
            finish: Seconds(self.t[end]),
            strength: peak * fall,
            complete: before.is_some() && after.is_some(),
        })
    }

    /// Last sample before `top` at which the hands are still low.
    fn leaves(&self, low: usize, top: usize) -> usize {
        let level = self.v[low] + 0.1 * (self.v[top] - self.v[low]);
        (low..top).rev().find(|&k| self.v[k] <= level).unwrap_or(low)
    }

    /// Time from the last pass of a quarter of the height to the first of three quarters.
    fn rise(&self, low: usize, top: usize) -> f64 {
        let level = |share: f64| self.v[low] + share * (self.v[top] - self.v[low]);
        let start = (low..top).rev().find(|&k| self.v[k] < level(0.25));
        let start = start.map_or(self.t[low], |k| self.cross(k, level(0.25)));
        let end = (low..top).find(|&k| self.v[k + 1] >= level(0.75));
        let end = end.map_or(self.t[top], |k| self.cross(k, level(0.75)));
        (end - start).max(0.0)
    }

    /// Time from the last pass of three quarters of the height to the first of a quarter.
    fn fall(&self, top: usize, bottom: usize) -> f64 {
        let level = |share: f64| self.v[bottom] + share * (self.v[top] - self.v[bottom]);
        let start = (top..bottom).rev().find(|&k| self.v[k] > level(0.75));
        let start = start.map_or(self.t[top], |k| self.cross(k, level(0.75)));
        let end = (top..bottom).find(|&k| self.v[k + 1] <= level(0.25));
        let end = end.map_or(self.t[bottom], |k| self.cross(k, level(0.25)));
        (end - start).max(0.0)
    }

    /// When the height passes a level between samples `k` and `k + 1`.
    fn cross(&self, k: usize, level: f64) -> f64 {
        let (a, b) = (self.v[k], self.v[k + 1]);
        let share = if a == b { 0.0 } else { ((level - a) / (b - a)).clamp(0.0, 1.0) };
        self.t[k] + share * (self.t[k + 1] - self.t[k])
    }

    /// Mean speed between the hands passing half their height down and half their height up.
    fn through(&self, top: usize, bottom: usize, end: usize) -> f64 {
        let half = |other: usize| f64::midpoint(self.v[other], self.v[bottom]);
        let down = (top..bottom).rev().find(|&k| self.v[k] > half(top)).unwrap_or(top);
        let up = (bottom..=end).find(|&k| self.v[k] > half(end)).unwrap_or(end);
        let (from, to) = (self.t[down], self.t[up]);
        self.speed(f64::midpoint(from, to), to - from)
    }

    /// Greatest mean speed over `width` centred on a sample of `from..=to`.
    fn fastest(&self, from: usize, to: usize, width: f64) -> f64 {
        (from..=to).map(|k| self.speed(self.t[k], width)).fold(0.0, f64::max)
    }

    /// Mean speed of the hands over `width` about a moment, statures / s.
    fn speed(&self, at: f64, width: f64) -> f64 {
        let (from, to) = (at - width / 2.0, at + width / 2.0);
        let length: f64 = (1..self.t.len())
            .map(|k| {
                let (a, b) = (self.t[k - 1], self.t[k]);
                let inside = (to.min(b) - from.max(a)).max(0.0) / (b - a);
                let step = (self.u[k] - self.u[k - 1]).hypot(self.v[k] - self.v[k - 1]);
                step * inside
            })
            .sum();
        length / width
    }
}

#[cfg(test)]
mod tests {
    use super::super::synthetic::{Script, coarse};
    use super::*;

    fn found(script: &Script) -> Vec<SwingSpan> {
        find(&coarse(script), TURN)
    }

    /// Hands that fall by a tenth of the stature only.
    #[test]
    fn a_shallow_swing_is_found_where_there_must_be_one() {
        let mut hands = coarse(&Script::default());
        let size = hands[0].size_px;
        let low = hands.iter().map(|h| h.hands.y).fold(f64::MIN, f64::max);
        let high = hands.iter().map(|h| h.hands.y).fold(f64::MAX, f64::min);
        hands.iter_mut().for_each(|h| h.hands.y *= 0.1 * size / (low - high));
        assert!(find(&hands, TURN).is_empty());
        assert_eq!(find_swings(&hands).len(), 1);
    }

    #[test]
    fn one_swing_is_found_near_its_true_times_from_both_sides_and_at_any_tempo() {
        for azimuth in [0.0, 1.57] {
            for tempo in [0.7, 1.0, 1.5, 8.0] {
                let script = Script { azimuth, tempo, ..Script::default() };
                let spans = found(&script);
                assert_eq!(spans.len(), 1, "{azimuth} {tempo} {spans:?}");
                assert!((spans[0].top.0 - script.top()).abs() < 0.12 * tempo.max(1.0));
                assert!((spans[0].impact.0 - script.impact()).abs() < 0.12 * tempo.max(1.0));
                assert!(spans[0].complete);
                let (from, to) = spans[0].window();
                assert!(from.0 < script.takeaway() - 0.5 || tempo > 2.0);
                assert!(to.0 > script.finish() - 0.2);
            }
        }
    }

    #[test]
    fn a_waggle_is_no_swing_and_standing_is_none() {
        let waggle = Script { waggle: 0.06, ..Script::default() };
        assert_eq!(found(&waggle).len(), 1);
        assert!(found(&Script { no_swing: true, waggle: 0.06, ..Script::default() }).is_empty());
        assert!(find_swings(&[]).is_empty());
    }

    #[test]
    fn after_a_practice_swing_the_last_is_taken_and_said() {
        let script = Script { practice: Some(0.9), ..Script::default() };
        let spans = found(&script);
        assert_eq!(spans.len(), 2, "{spans:?}");
        let picked = pick(&spans, &[]).unwrap();
        assert!((picked.output.top.0 - script.top()).abs() < 0.12);
        assert!(picked.warnings[0].text.contains("2 swings"), "{:?}", picked.warnings);
        let strike = Strike { time: Seconds(spans[0].impact.0 + 0.03), loudness: 30.0 };
        assert_eq!(pick(&spans, &[strike]).unwrap().output, spans[0]);
        assert_eq!(pick(&[], &[strike]), Err(EventsError::NoSwing));
    }
}
