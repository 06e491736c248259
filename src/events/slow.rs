//! In: a rough swing and how many frames its seconds have. Out: whether the clip must be
//! stretched slow motion, and which true rates fit. It never decides: it says.
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
    /// Seconds from top to impact at `fps`.
    pub downswing_s: f64,
    /// Seconds from takeaway to top at `fps`.
    pub backswing_s: f64,
    /// Frames a second that the clip was taken to have.
    pub fps: f64,
    /// Factors in use that fit, the likeliest first.
    pub factors: Vec<f64>,
}

impl Stretched {
    /// True rates that fit, whole frames a second, the likeliest first.
    #[must_use]
    pub fn rates(&self) -> Vec<f64> {
        self.factors.iter().map(|factor| (factor * self.fps).round()).collect()
    }

    /// What is wrong. Who shows it adds the control that answers it there.
    #[must_use]
    pub fn said(&self) -> String {
        let fits = match self.factors.as_slice() {
            [] => "slow motion stretched by an unusual factor".to_owned(),
            [one] => format!("slow motion stretched about {one:.0} times fits"),
            [one, other, ..] => {
                format!("slow motion stretched about {one:.0} times fits best, or {other:.0} times")
            }
        };
        format!(
            "at {:.0} frames a second the swing takes {:.1} s back and {:.1} s down, too slow for \
             real time (about 0.9 s and 0.3 s are usual): {fits}",
            self.fps, self.backswing_s, self.downswing_s
        )
    }

    /// What is wrong and the option of the command line that answers it.
    #[must_use]
    pub fn message(&self) -> String {
        let rates: Vec<String> =
            self.rates().iter().take(2).map(|fps| format!("--capture-fps {fps:.0}")).collect();
        let how = if rates.is_empty() { "--capture-fps".to_owned() } else { rates.join(" or ") };
        format!("{}; give the true frame rate with {how}", self.said())
    }
}

/// `None` when the swing can be in real time. `fps`: frames in a second of the span's time.
#[must_use]
pub fn implausible_stretch(span: &SwingSpan, fps: f64) -> Option<Stretched> {
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
    Some(Stretched { downswing_s: down, backswing_s: back, fps, factors })
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
            assert_eq!(implausible_stretch(&span(back, down), 30.0), None);
        }
    }

    #[test]
    fn stretched_ones_are_named_with_the_likeliest_factor() {
        for factor in [4.0, 8.0] {
            for tempo in [0.85, 1.0, 1.15] {
                let slow = span(0.87 * factor * tempo, 0.27 * factor * tempo);
                let said = implausible_stretch(&slow, 30.0).unwrap();
                assert_eq!(said.factors.first(), Some(&factor), "{tempo} {said:?}");
            }
        }
        let slow = implausible_stretch(&span(6.9, 2.2), 29.97).unwrap();
        assert_eq!(slow.rates().first(), Some(&240.0));
        assert!(slow.message().contains("--capture-fps 240"), "{slow:?}");
        assert!(!slow.said().contains("--"), "{slow:?}");
    }

    /// Told a rate that is still too low, the clip's seconds have that many frames.
    #[test]
    fn a_rate_that_was_too_low_is_told_from_the_true_one() {
        let half = implausible_stretch(&span(6.9 / 2.0, 2.2 / 2.0), 60.0).unwrap();
        assert_eq!(half.rates().first(), Some(&240.0));
    }

    #[test]
    fn what_fits_no_factor_is_said_without_one() {
        let said = implausible_stretch(&span(60.0, 30.0), 30.0).unwrap();
        assert!(said.factors.is_empty());
        assert!(said.message().contains("--capture-fps"));
    }
}
