//! Where the golfer stands in the picture, and how near he is beside the corners around him.
//! In: his square, corners with their nearness and its sd. Out: nearness at his feet, with sd.
//!
//! The ground beside his feet is as far away as he is. Nearness of a plane is linear in the
//! picture (Hartley & Zisserman 2004, ch. 8), so the corners on the ground about the row of his
//! feet give it by a straight fit; corners on what stands there are left out as outliers.

use nalgebra::{Matrix3, Vector3};

use super::super::fit::tukey;
use crate::frames::Pixel;
use crate::keypoints::Roi;
use crate::signal;
use crate::units::Estimate;

/// Side of a golfer's square, m: it reaches 1.25 times as far from the hips as the body
/// (POSE.md section 3), hips lie 0.53 statures above the ground (Winter 2009), statures about
/// 1.75 m: 2 x 1.25 x 0.93.
const SIDE_M: f64 = 2.3;
/// Hips above the ground between the feet as the picture shows them, m; feet point forward, and
/// a camera looks down a little.
const HIPS_M: f64 = 0.9;
/// Height at which a phone is held, m, and its sd: chest of one who stands, or kneels.
const CAMERA_M: f64 = 1.2;
const CAMERA_SD_M: f64 = 0.3;
/// Sd of where a hand holds the phone through a swing, m: a choice (from memory, quiet standing
/// sways by 0.5 to 1 cm and arms add as much); `scripts/render_bodies` shakes by 0.4 to 1.5 cm.
const HAND_M: f64 = 0.02;

/// Nearness of what stands behind, before anything is seen: it has some distance from the golfer,
/// and the sd leaves everything open from infinity to in front of him. No source.
const BEHIND: f64 = 0.35;
const NEAREST: f64 = 2.5;
pub(super) const EXPECTED_SD: f64 = 0.5;
/// The ground may lean in the picture by some degrees, and more where a step that is short leaves
/// the nearness of corners vague. No source.
const LEAN_SD: f64 = 1.0;
/// Ground corners lie below this far above the feet, in squares, and count by their nearness to
/// the feet's row as a normal curve of this width: a wall 1.2 m behind, the nearest that
/// `scripts/render_bodies` puts up, begins 0.15 squares above the feet.
const ABOVE: f64 = 0.12;
const WIDTH: f64 = 0.2;
/// Least sd of a corner's nearness: tufts, mats, what lies about.
const UNEVEN: f64 = 0.1;
const LEAST_SCATTER: f64 = 0.05;
/// Sd of the golfer's nearness beside that of the ground: the row of the feet is known to 0.02
/// squares, and he reaches 0.2 m to each side of it, of 4 m.
const BODY_SD: f64 = 0.07;
const ROUNDS: usize = 6;

/// The golfer's square as a scale for what is around him.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stand {
    feet: Pixel,
    side: f64,
    /// Places on him at which the map must be right.
    pub places: [Pixel; 3],
}

/// A corner of the background.
#[derive(Clone, Copy, Debug)]
pub(super) struct Corner {
    pub at: Pixel,
    pub nearness: Estimate,
}

impl Stand {
    pub fn of(golfer: &Roi) -> Self {
        let Roi { centre, side, .. } = *golfer;
        Self {
            feet: Pixel::new(centre.x, centre.y + HIPS_M / SIDE_M * side),
            side,
            places: super::super::places(centre, side),
        }
    }

    /// Sd of the hand's step in units of the golfer's distance.
    pub fn hand(&self, focal: f64) -> f64 {
        HAND_M / (focal * SIDE_M / self.side)
    }

    /// Nearness of a place before anything is seen: level ground up to a wall.
    pub fn expected(&self, at: Pixel) -> f64 {
        (1.0 - self.above(at) * SIDE_M / CAMERA_M).clamp(BEHIND, NEAREST)
    }

    /// How far a place lies above the row of the feet, squares.
    fn above(&self, at: Pixel) -> f64 {
        (self.feet.y - at.y) / self.side
    }

    /// Nearness at the feet.
    pub fn nearness(&self, corners: &[Corner]) -> Option<Estimate> {
        let ground: Vec<(Vector3<f64>, f64, f64)> = corners
            .iter()
            .filter(|c| self.above(c.at) < ABOVE)
            .map(|c| {
                let (across, down) = ((c.at.x - self.feet.x) / self.side, -self.above(c.at));
                let closeness = (-0.5 * (down / WIDTH).powi(2)).exp();
                let weight = closeness / (c.nearness.sd.powi(2) + UNEVEN.powi(2));
                (Vector3::new(1.0, across, down), c.nearness.value, weight)
            })
            .collect();
        // Without ground: as far away as expected, and the slope that a level camera sees.
        let slope = SIDE_M / CAMERA_M;
        let expected = Vector3::new(1.0, 0.0, slope);
        let sds = Vector3::new(EXPECTED_SD, LEAN_SD, slope * CAMERA_SD_M / CAMERA_M);
        let held = Matrix3::from_diagonal(&sds.map(|sd| sd.powi(-2)));
        let mut agree = vec![1.0; ground.len()];
        let mut found = None;
        for _ in 0..ROUNDS {
            let (mut normal, mut side) = (held, held * expected);
            for ((basis, nearness, weight), agree) in ground.iter().zip(&agree) {
                normal += basis * basis.transpose() * (weight * agree);
                side += basis * (nearness * weight * agree);
            }
            let spread = normal.try_inverse()?;
            let plane = spread * side;
            found = Some(Estimate { value: plane[0], sd: BODY_SD.hypot(spread[(0, 0)].sqrt()) });
            let off: Vec<f64> = ground.iter().map(|(b, n, _)| (n - b.dot(&plane)).abs()).collect();
            let scatter = (signal::median(&off).unwrap_or(0.0) / 0.674_5).max(LEAST_SCATTER);
            agree = off.iter().map(|off| tukey(off / scatter)).collect();
        }
        found.filter(|f| f.value.is_finite() && f.sd.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOLFER: Roi = Roi { centre: Pixel { x: 360.0, y: 600.0 }, side: 600.0, rotation: 0.0 };

    fn corner(x: f64, y: f64, nearness: f64) -> Corner {
        Corner { at: Pixel::new(x, y), nearness: Estimate { value: nearness, sd: 0.03 } }
    }

    /// Ground whose nearness is 0.8 at the feet (row 834.8) and bags that stand on it.
    fn lawn(bags: usize) -> Vec<Corner> {
        (0..40u32)
            .map(|i| {
                let (x, y) = (18.0 * f64::from(i), 780.0 + f64::from(i * 29 % 40) * 5.0);
                let ground = 0.8 + (y - 834.8) * 0.002 + (x - 360.0) * 0.0001;
                let on = i as usize * bags / 40 != (i as usize + 1) * bags / 40;
                corner(x, y, if on { ground + 0.6 } else { ground })
            })
            .collect()
    }

    #[test]
    fn the_ground_beside_the_feet_is_as_near_as_they_are() {
        let stand = Stand::of(&GOLFER);
        for bags in [0, 10] {
            let found = stand.nearness(&lawn(bags)).unwrap();
            assert!((found.value - 0.8).abs() < 0.03, "{bags} bags: {found:?}");
            assert!((BODY_SD..0.1).contains(&found.sd), "{found:?}");
        }
    }

    #[test]
    fn without_ground_little_is_known() {
        let wall: Vec<Corner> = (0..40).map(|i| corner(18.0 * f64::from(i), 200.0, 0.3)).collect();
        let found = Stand::of(&GOLFER).nearness(&wall).unwrap();
        assert!((found.value - 1.0).abs() < 1e-9 && found.sd > 0.5, "{found:?}");
    }

    #[test]
    fn what_is_expected_is_level_ground_and_a_wall() {
        let stand = Stand::of(&GOLFER);
        assert!((stand.expected(stand.feet) - 1.0).abs() < 1e-12);
        assert!((stand.expected(Pixel::new(0.0, 100.0)) - BEHIND).abs() < 1e-12);
        assert!(stand.expected(Pixel::new(0.0, 1000.0)) > 1.4);
        // 2 cm at 4.6 m: the square of 2.3 m is 600 pixels of a focal length of 1200.
        assert!((stand.hand(1200.0) - 0.02 / 4.6).abs() < 1e-12);
    }
}
