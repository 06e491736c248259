//! Thin bright lines. In: a picture's band. Out: the points of their middles (crests), and the
//! straight lines on which many of them lie.
//!
//! Crests after Steger 1998 (IEEE TPAMI 20:113): where the second derivative across is strong and
//! the first is zero within the pixel. Lines by votes (Duda and Hart 1972, CACM 15:11), each
//! crest for lines of about its own direction only, then by least squares.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    clippy::cast_precision_loss,
    reason = "places and counts in a picture are far below 2^24 and not negative"
)]

use std::f64::consts::PI;

use super::field::Field;

/// Sum of the colour channels' squared steps from ground to rod, square root: fainter things are
/// as often grass. Chosen on made-up grounds (`scenes.rs`).
pub const LEAST_CONTRAST: f64 = 14.0;
/// Second derivative in the middle of a bar of contrast 1, at the smoothing below, times sigma
/// squared.
const BAR: f64 = 0.47;
/// Smoothing over the bar's width.
const SIGMA: f64 = 0.6;
/// Cells of the votes.
const ANGLES: usize = 180;
const RHO_PX: f64 = 2.0;
/// Directions within this are one, radians.
const ALIKE: f64 = 0.14;

#[derive(Clone, Copy, Debug)]
pub struct Crest {
    pub at: [f64; 2],
    /// Direction across, radians from x toward y.
    pub angle: f64,
}

/// All crests of bars about this wide, pixels, that are brighter than both sides in a channel.
pub fn crests(field: &Field, width_px: f64) -> Vec<Crest> {
    let sigma = (SIGMA * width_px).clamp(0.9, 4.0);
    let least = 0.8 * BAR * LEAST_CONTRAST / (sigma * sigma);
    let smooth = field.smoothed(sigma);
    let mut found = Vec::new();
    for y in 1..field.height as isize - 1 {
        for x in 1..field.width as isize - 1 {
            let best = (0..3)
                .filter_map(|channel| crest(&smooth, x, y, channel, least))
                .max_by(|a, b| a.0.total_cmp(&b.0));
            found.extend(best.map(|(_, crest)| crest));
        }
    }
    found
}

fn crest(field: &Field, x: isize, y: isize, channel: usize, least: f64) -> Option<(f64, Crest)> {
    let p = |dx: isize, dy: isize| f64::from(field.pixel(x + dx, y + dy)[channel]);
    let (m, l, r, u, d) = (p(0, 0), p(-1, 0), p(1, 0), p(0, -1), p(0, 1));
    let (xx, yy) = (l + r - 2.0 * m, u + d - 2.0 * m);
    let xy = (p(-1, -1) + p(1, 1) - p(1, -1) - p(-1, 1)) / 4.0;
    let half = ((xx - yy) / 2.0).hypot(xy);
    let (low, high) = (f64::midpoint(xx, yy) - half, f64::midpoint(xx, yy) + half);
    if -low < least || high.abs() > -0.5 * low {
        return None;
    }
    let angle = 0.5 * (-2.0 * xy).atan2(yy - xx);
    let (sin, cos) = angle.sin_cos();
    let step = -((r - l) / 2.0 * cos + (d - u) / 2.0 * sin) / low;
    if (step * cos).abs() > 0.6 || (step * sin).abs() > 0.6 {
        return None;
    }
    let at = [x as f64 + 0.5 + step * cos, y as f64 + 0.5 + step * sin];
    Some((-low, Crest { at, angle }))
}

/// x cos + y sin = rho.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    angle: f64,
    rho: f64,
}

/// A piece of a line, in places along it.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub from: f64,
    pub to: f64,
    /// Share of it on which crests lie.
    pub fill: f64,
}

impl Span {
    pub const WHOLE: Self = Self { from: f64::NEG_INFINITY, to: f64::INFINITY, fill: 0.0 };

    pub fn length(&self) -> f64 {
        self.to - self.from
    }
}

impl Line {
    fn across(&self, p: [f64; 2]) -> f64 {
        p[0] * self.angle.cos() + p[1] * self.angle.sin() - self.rho
    }

    pub fn along(&self, p: [f64; 2]) -> f64 {
        p[1] * self.angle.cos() - p[0] * self.angle.sin()
    }

    pub fn point(&self, along: f64, across: f64) -> [f64; 2] {
        let ((sin, cos), rho) = (self.angle.sin_cos(), self.rho + across);
        [rho * cos - along * sin, rho * sin + along * cos]
    }

    fn near(&self, c: &Crest, reach: f64) -> bool {
        let turn = (c.angle - self.angle).rem_euclid(PI);
        self.across(c.at).abs() < reach && turn.min(PI - turn) < ALIKE
    }

    /// The line on which most crests lie, and how many vote for it.
    pub fn strongest(crests: &[Crest], reach: f64) -> Option<(Self, f64)> {
        let rows = (2.0 * reach / RHO_PX) as usize + 2;
        let mut votes = vec![0_u32; ANGLES * rows];
        let step = PI / ANGLES as f64;
        for c in crests {
            let middle = (c.angle.rem_euclid(PI) / step).round() as isize;
            for k in middle - 2..=middle + 2 {
                let k = k.rem_euclid(ANGLES as isize) as usize;
                let (sin, cos) = (k as f64 * step).sin_cos();
                let row = (c.at[0] * cos + c.at[1] * sin + reach) / RHO_PX;
                votes[k * rows + row as usize] += 1;
            }
        }
        let (at, count) = votes.iter().enumerate().max_by_key(|(_, v)| **v)?;
        let rho = ((at % rows) as f64 + 0.5) * RHO_PX - reach;
        Some((Self { angle: (at / rows) as f64 * step, rho }, f64::from(*count)))
    }

    /// Least squares across; also the crests' rms distance, pixels.
    fn through(crests: &[Crest]) -> Option<(Self, f64)> {
        if crests.len() < 8 {
            return None;
        }
        let n = crests.len() as f64;
        let mean = |k: usize| crests.iter().map(|c| c.at[k]).sum::<f64>() / n;
        let (mx, my) = (mean(0), mean(1));
        let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
        for c in crests {
            let (dx, dy) = (c.at[0] - mx, c.at[1] - my);
            xx += dx * dx;
            yy += dy * dy;
            xy += dx * dy;
        }
        let angle = 0.5 * (-2.0 * xy).atan2(yy - xx);
        let least = f64::midpoint(xx, yy) - ((xx - yy) / 2.0).hypot(xy);
        let line = Self { angle, rho: mx * angle.cos() + my * angle.sin() };
        Some((line, (least.max(0.0) / n).sqrt()))
    }

    /// The same line put where its crests are; also their rms distance, pixels.
    pub fn refined(mut self, crests: &[Crest]) -> (Self, f64) {
        let mut rms = f64::INFINITY;
        for reach in [3.0, 2.0, 1.5] {
            let Some(span) = self.longest(crests, reach) else { break };
            let on: Vec<Crest> = crests
                .iter()
                .copied()
                .filter(|c| {
                    let u = self.along(c.at);
                    self.near(c, reach) && u >= span.from - 4.0 && u <= span.to + 4.0
                })
                .collect();
            let Some((line, miss)) = Self::through(&on) else { break };
            (self, rms) = (line, miss);
        }
        (self, rms)
    }

    /// The longest covered piece; something that lies across may hide a seventh of it.
    pub fn longest(&self, crests: &[Crest], reach: f64) -> Option<Span> {
        let on = crests.iter().filter(|c| self.near(c, reach));
        let mut at: Vec<f64> = on.map(|c| self.along(c.at)).collect();
        at.sort_by(f64::total_cmp);
        let mut pieces: Vec<(f64, f64, f64)> = Vec::new();
        for u in at {
            match pieces.last_mut() {
                Some((_, to, covered)) if u - *to < 4.0 => {
                    *covered += f64::from(u8::from(u.floor() > to.floor()));
                    *to = u;
                }
                _ => pieces.push((u, u, 1.0)),
            }
        }
        pieces.retain(|(from, to, _)| to - from >= 5.0);
        let joins = |p: &[(f64, f64, f64)]| {
            let whole = p[1].1 - p[0].0;
            whole > 30.0 && p[1].0 - p[0].1 < 0.15 * whole
        };
        while let Some(i) = pieces.windows(2).position(joins) {
            let (_, to, covered) = pieces.remove(i + 1);
            pieces[i].1 = to;
            pieces[i].2 += covered;
        }
        let (from, to, covered) =
            pieces.into_iter().max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))?;
        Some(Span { from, to, fill: covered / (to - from).max(1.0) })
    }

    /// By how much the middle third lies beside the outer ones, pixels.
    pub fn bow(&self, crests: &[Crest], span: &Span) -> f64 {
        let mut sums = [(0.0, 0.0); 2];
        for c in crests.iter().filter(|c| self.near(c, 2.0)) {
            let u = (self.along(c.at) - span.from) / span.length();
            if (0.0..=1.0).contains(&u) {
                let sum = &mut sums[usize::from((1.0 / 3.0..2.0 / 3.0).contains(&u))];
                sum.0 += self.across(c.at);
                sum.1 += 1.0;
            }
        }
        let [outer, inner] = sums.map(|(sum, n)| sum / f64::max(n, 1.0));
        (outer - inner).abs()
    }

    /// Whether a crest belongs to this piece.
    pub fn owns(&self, c: &Crest, span: &Span) -> bool {
        let u = self.along(c.at);
        self.across(c.at).abs() <= 2.5 && u >= span.from - 5.0 && u <= span.to + 5.0
    }
}
