//! In: a rough swing in file time. Out: whether the clip must be stretched slow motion, and
//! by which factors. It never decides: it says.
//!
//! Real downswings (top to impact) last 0.2 to 0.35 s, backswings 0.7 to 1.1 s (FACTS A3.1,
//! A3.2, A3.5); a coach's drill may be slower, but not three times in both.

use super::SwingSpan;

/// Usual durations in seconds: FACTS A3.1, A3.2.
const BACKSWING: f64 = 0.87;
const DOWNSWING: f64 = 0.27;
/// Nobody swings down to a ball this slowly, seconds; twice the slowest usual.
const SLOW_DOWNSWING: f64 = 0.6;
/// Nor takes this long back, when both are slow.
const SLOW_BACKSWING: f64 = 1.6;
/// How phones stretch: 60, 120, 240 frames a second shown at 30.
const FACTORS: [f64; 3] = [2.0, 4.0, 8.0];
/// Spread of ln(duration) between golfers together with that of the rough times: the
/// quartiles of FACTS A3.1, widened.
const LOG_SPREAD: f64 = 0.25;

/// A clip whose swing is implausibly slow.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretched {
    /// File seconds from top to impact.
    pub downswing_s: f64,
    /// File seconds from takeaway to top.
    pub backswing_s: f64,
    /// Factors in use that fit, the likeliest first.
    pub factors: Vec<f64>,
}

impl Stretched {
    /// What is wrong and what to do. `file_fps`: frames a second of file time.
    #[must_use]
    pub fn message(&self, file_fps: f64) -> String {
        let rate = |factor: f64| format!("--capture-fps {:.0}", factor * file_fps);
        let advice = match self.factors.as_slice() {
            [] => "give the true frame rate with --capture-fps".to_owned(),
            [one] => format!("slow motion stretched about {one:.0} times fits: {}", rate(*one)),
            [one, other, ..] => format!(
                "slow motion stretched about {one:.0} times fits best ({}), or {other:.0} times ({})",
                rate(*one),
                rate(*other)
            ),
        };
        format!(
            "the swing takes {:.1} s back and {:.1} s down in this file, too slow for real time \
             (about 0.9 s and 0.3 s are usual): {advice}",
            self.backswing_s, self.downswing_s
        )
    }
}

/// `None` when the swing can be in real time. `span` in file time.
#[must_use]
pub fn implausible_stretch(span: &SwingSpan) -> Option<Stretched> {
    let (back, down) = (span.backswing(), span.downswing());
    if down < SLOW_DOWNSWING || back < SLOW_BACKSWING {
        return None;
    }
    // The downswing differs less between people than the backswing (FACTS A3.1, A3.2), and
    // a waggle or a late start spoils only the latter.
    let log = (2.0 * (down / DOWNSWING).ln() + (back / BACKSWING).ln()) / 3.0;
    let mut fit: Vec<(f64, f64)> =
        FACTORS.iter().map(|f| ((log - f.ln()).abs() / LOG_SPREAD, *f)).collect();
    fit.retain(|(misfit, _)| *misfit < 2.0);
    fit.sort_by(|a, b| a.0.total_cmp(&b.0));
    let factors = fit.into_iter().map(|(_, factor)| factor).collect();
    Some(Stretched { downswing_s: down, backswing_s: back, factors })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn span(back: f64, down: f64) -> SwingSpan {
        SwingSpan {
            start: Seconds(1.0),
            top: Seconds(1.0 + back),
            impact: Seconds(1.0 + back + down),
            finish: Seconds(2.0 + back + down),
            strength: 1.0,
            complete: true,
        }
    }

    #[test]
    fn real_swings_pass_whether_quick_or_slow() {
        for (back, down) in [(0.6, 0.2), (0.87, 0.27), (1.4, 0.4), (2.5, 0.45), (1.2, 0.7)] {
            assert_eq!(implausible_stretch(&span(back, down)), None);
        }
    }

    #[test]
    fn stretched_ones_are_named_with_the_likeliest_factor() {
        for factor in [4.0, 8.0] {
            for tempo in [0.85, 1.0, 1.15] {
                let slow = span(0.87 * factor * tempo, 0.27 * factor * tempo);
                let said = implausible_stretch(&slow).unwrap();
                assert_eq!(said.factors.first(), Some(&factor), "{tempo} {said:?}");
            }
        }
        let said = implausible_stretch(&span(6.9, 2.2)).unwrap().message(30.0);
        assert!(said.contains("--capture-fps 240"), "{said}");
    }

    #[test]
    fn what_fits_no_factor_is_said_without_one() {
        let said = implausible_stretch(&span(60.0, 30.0)).unwrap();
        assert!(said.factors.is_empty());
        assert!(said.message(30.0).contains("--capture-fps"));
    }
}
