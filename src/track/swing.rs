//! Is this a swing? In: one person's path through the coarse scan. Out: how much his hands
//! look like a golf swing's. Lengths in the person's own stature, real seconds.
//!
//! A swing is: both hands together, low, up above the elbows, most of the way down fast, and up again. The
//! times are wide brackets around FACTS A3.1-A3.2 (backswing 0.7-1.1 s, downswing
//! 0.2-0.33 s at 30 pictures a second); heights come from FACTS B2 (hip 0.530 of stature,
//! shoulder 0.818, hanging wrist 0.485). The limits are this program's choice.

use super::body::TOGETHER;
use super::people::Path;

/// Hands count as up from here: half way from hip to shoulder height.
const UP: f64 = 0.14;
/// Hands count as down up to here: at hip height, a little above allowed for coarse times.
const DOWN: f64 = 0.06;
/// And at impact when they have come back this share of the way up from address: a scan of ten or
/// twelve pictures a second seldom shows them at their lowest. Ten pictures a second of 570 whole
/// clips of the lifting files, 404 of `render_bodies` and 179 of wild motion: 1.4, 9.7 and 16 % were no
/// swing by [`DOWN`] alone, 0.3, 1.1 and 1.1 % with this, [`AT_ADDRESS`] and [`MOSTLY`], which were
/// chosen on these clips.
const CAME_DOWN: f64 = 0.5;
/// How far up again the hands go after impact, at the least.
const UP_AGAIN: f64 = 0.1;
/// Hands are not above this at address, and go up from there by [`RISE`] at least.
const AT_ADDRESS: f64 = 0.1;
const RISE: f64 = 0.15;
/// From the top down to impact, s.
const DOWNSWING_S: (f64, f64) = (0.07, 0.65);
/// From the hands last being low to the top, s.
const BACKSWING_S: (f64, f64) = (0.25, 2.2);
/// From impact to the hands being up again, s.
const THROUGH_S: f64 = 1.0;
/// Slowest fastest hands of a swing, statures a second: about a third of a beginner's.
const SLOWEST: f64 = 1.2;
/// Speed beyond which a swing is no surer, statures a second.
const SURE: f64 = 4.0;
/// Share of the swing's pictures that must show the hands together; the body hides one now and then
/// and the network puts it elsewhere.
const MOSTLY: f64 = 0.45;
/// Pictures further apart than this do not tell what the hands did between them, s.
const STEPPED_OVER_S: f64 = 0.15;
/// A path that begins or ends this near the downswing may have cut off the rest, s.
const CUT_S: f64 = 0.35;

/// What a person's hands do at best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Swing {
    /// 0..1: speed of the hands and how much they stay together.
    pub sureness: f64,
    /// Up before and after were both seen.
    pub whole: bool,
}

struct Hands {
    time: f64,
    /// Across and above the hips, statures.
    across: f64,
    height: f64,
    apart: f64,
}

/// The best swing in a path whose time runs `slowness` times too slow; `None` if none.
pub(super) fn find(path: &Path<'_>, slowness: f64) -> Option<Swing> {
    let hands = hands(path, slowness);
    let tops = (0..hands.len()).filter(|&i| hands[i].height >= UP);
    let swings = tops.flat_map(|top| {
        let hands = &hands;
        impacts(hands, top).filter_map(move |impact| judge(hands, top, impact))
    });
    swings.max_by(|a, b| a.whole.cmp(&b.whole).then(a.sureness.total_cmp(&b.sureness)))
}

/// A swing whose impact nobody saw, because the fast hands blurred: low, up, a stretch
/// without a reading, up again. Weaker than what [`find`] finds.
pub(super) fn find_unseen(path: &Path<'_>) -> Option<Swing> {
    let hands = hands(path, 1.0);
    let steps: Vec<f64> = hands.windows(2).map(|w| w[1].time - w[0].time).collect();
    let usual = crate::signal::median(&steps)?;
    let hides = |i: usize| {
        let gap = hands[i + 1].time - hands[i].time;
        let just = |time: f64| (time - hands[i].time).abs() <= DOWNSWING_S.1 / 2.0;
        let soon = |time: f64| (time - hands[i + 1].time).abs() <= DOWNSWING_S.1 / 2.0;
        gap > 1.5 * usual
            && (DOWNSWING_S.0..=DOWNSWING_S.1 + THROUGH_S / 2.0).contains(&gap)
            && hands[..=i].iter().any(|h| just(h.time) && h.height >= UP)
            && hands[i + 1..].iter().any(|h| soon(h.time) && h.height >= UP)
    };
    let top = (0..hands.len().saturating_sub(1)).find(|i| {
        hides(*i) && before(&hands, *i).is_some_and(|start| together(&hands[start..=*i]) >= MOSTLY)
    });
    top.map(|_| Swing { sureness: 0.3, whole: false })
}

fn hands(path: &Path<'_>, slowness: f64) -> Vec<Hands> {
    let size = path.size();
    let samples = path.samples.iter();
    samples
        .map(|s| Hands {
            time: s.time / slowness,
            across: (s.hands.x - s.hip.x) / size,
            height: (s.hip.y - s.hands.y) / size,
            apart: s.apart / size,
        })
        .collect()
}

/// The last moment before the top at which the hands were low.
fn before(hands: &[Hands], top: usize) -> Option<usize> {
    let low = AT_ADDRESS.min(hands[top].height - RISE);
    (0..top).rev().find(|&i| {
        let before = hands[top].time - hands[i].time;
        (BACKSWING_S.0..=BACKSWING_S.1).contains(&before) && hands[i].height <= low
    })
}

/// Share of the pictures that show the hands together.
fn together(hands: &[Hands]) -> f64 {
    let together = hands.iter().filter(|h| h.apart <= TOGETHER).count();
    crate::signal::real(together) / crate::signal::real(hands.len())
}

fn impacts(hands: &[Hands], top: usize) -> impl Iterator<Item = usize> + '_ {
    let (least, most) = DOWNSWING_S;
    let high = hands[top].height;
    let back = |start: usize| high - CAME_DOWN * (high - hands[start].height);
    let down = before(hands, top).map_or(DOWN, back).max(DOWN);
    (top + 1..hands.len())
        .take_while(move |&i| hands[i].time - hands[top].time <= most)
        .filter(move |&i| hands[i].time - hands[top].time >= least && lowest(hands, i) <= down)
}

/// How low the hands came at this picture or between it and the next. Twelve pictures a second
/// can step over impact: the hands go on down as before and have come up as after.
fn lowest(hands: &[Hands], i: usize) -> f64 {
    let seen = hands[i].height;
    let around = i.checked_sub(1).and_then(|before| hands.get(before..i + 3));
    let Some([a, b, c, d]) = around else { return seen };
    let step = c.time - b.time;
    let down = (b.height - a.height) / (b.time - a.time);
    let up = (d.height - c.height) / (d.time - c.time);
    if step > STEPPED_OVER_S || down >= 0.0 || up <= 0.0 {
        return seen;
    }
    // where the line through the two before meets the line through the two after
    let after = (c.height - up * step - b.height) / (down - up);
    if (0.0..=step).contains(&after) { (b.height + down * after).min(seen) } else { seen }
}

fn judge(hands: &[Hands], top: usize, impact: usize) -> Option<Swing> {
    let speed = fastest(&hands[top..=impact]);
    let start = before(hands, top);
    let up = UP.max(lowest(hands, impact) + UP_AGAIN);
    let through = (impact + 1..hands.len())
        .take_while(|&i| hands[i].time - hands[impact].time <= THROUGH_S)
        .find(|&i| hands[i].height >= up);
    let late = start.is_none() && hands[top].time - hands[0].time < CUT_S;
    let early = through.is_none() && hands[hands.len() - 1].time - hands[impact].time < CUT_S;
    // One end may be cut off by the clip, not both.
    let plausible = match (start, through) {
        (Some(_), Some(_)) => true,
        (Some(_), None) => early,
        (None, Some(_)) => late,
        (None, None) => false,
    };
    let seen = &hands[start.unwrap_or(0)..=through.unwrap_or(impact)];
    let together = together(seen);
    (plausible && speed >= SLOWEST && together >= MOSTLY).then(|| Swing {
        sureness: (speed / SURE).min(1.0) * together,
        whole: start.is_some() && through.is_some(),
    })
}

/// Fastest move from one picture to the next, statures a second.
fn fastest(hands: &[Hands]) -> f64 {
    let speeds = hands.windows(2).map(|w| {
        (w[1].across - w[0].across).hypot(w[1].height - w[0].height) / (w[1].time - w[0].time)
    });
    speeds.fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sampled(step: f64, places: &[(f64, f64)]) -> Vec<Hands> {
        let at = |(i, &(across, height)): (usize, &(f64, f64))| Hands {
            time: step * crate::signal::real(i),
            across,
            height,
            apart: 0.05,
        };
        places.iter().enumerate().map(at).collect()
    }

    fn swings(hands: &[Hands]) -> bool {
        let tops = (0..hands.len()).filter(|&i| hands[i].height >= UP);
        tops.flat_map(|top| impacts(hands, top).map(move |i| (top, i)))
            .any(|(top, impact)| judge(hands, top, impact).is_some())
    }

    /// Low, up, down and up at 10 pictures a second, none of them at impact.
    #[test]
    fn a_swing_whose_impact_lies_between_two_pictures_is_one() {
        let places = [
            (0.0, 0.0),
            (0.0, 0.0),
            (-0.1, 0.0),
            (-0.2, 0.1),
            (-0.2, 0.2),
            (-0.15, 0.32),
            (-0.1, 0.35),
            (-0.14, 0.27),
            (-0.14, 0.13),
            (0.1, 0.14),
            (0.1, 0.35),
            (0.0, 0.36),
        ];
        assert!(swings(&sampled(0.1, &places)));
    }

    /// As a scan saw a rendered swing from behind; its hands are set down in the lap in the second.
    #[test]
    fn hands_that_no_picture_shows_at_their_lowest_have_come_down() {
        let behind: Vec<(f64, f64)> = [
            -0.015, 0.001, 0.008, 0.05, 0.113, 0.158, 0.208, 0.234, 0.343, 0.39, 0.382, 0.229,
            0.115, 0.301, 0.314, 0.334,
        ]
        .map(|height| (0.1, height))
        .to_vec();
        assert!(swings(&sampled(1.0 / 12.0, &behind)));
        let lap: Vec<(f64, f64)> = behind[..13].iter().copied().chain([(0.1, 0.15); 12]).collect();
        assert!(!swings(&sampled(1.0 / 12.0, &lap)));
    }

    /// Hands that turn round at chest height swing nothing.
    #[test]
    fn hands_that_stay_up_are_no_swing() {
        let places = [
            (0.0, 0.0),
            (0.0, 0.0),
            (-0.1, 0.1),
            (-0.2, 0.3),
            (-0.1, 0.35),
            (0.0, 0.28),
            (0.1, 0.24),
            (0.2, 0.26),
            (0.2, 0.33),
            (0.2, 0.35),
            (0.1, 0.35),
        ];
        assert!(!swings(&sampled(0.1, &places)));
    }
}
