//! What the landmark network's numbers mean. In: its outputs (`landmarks [39, 5]` x, y, z in
//! 256ths of the crop with visibility and presence logits, `flag [1]` a probability, `heatmap
//! [39, 64, 64]` logits, `world [39, 3]` metres in the crop's axes) and the square that was
//! read. Out: [`Landmarks`] in picture pixels and metres along the picture's axes.
//!
//! Method: MediaPipe `tensors_to_pose_landmarks_and_segmentation.pbtxt` with
//! `refine_landmarks_from_heatmap_calculator.cc` (google-ai-edge/mediapipe at 85c0cdc7).

use super::crop::Facing;
use super::{LANDMARKS, Landmark, Landmarks, Roi};
use crate::units::Confidence;

/// Side of the landmark network's input, pixels.
pub(super) const INPUT: u16 = 256;

/// Numbers per landmark.
pub(super) const VALUES: usize = 5;

/// Side of a heatmap.
pub(super) const HEATMAP: usize = 64;

/// The refinement looks this far around the point (`kernel_size` 7 of the graph).
const REACH: usize = 3;

/// A heatmap that peaks lower is not used (`min_confidence_to_refine` of the graph).
const SURE: f64 = 0.5;

/// The network's outputs as they come.
pub(super) struct Output<'a> {
    pub landmarks: &'a [f32],
    pub flag: f32,
    pub heatmap: &'a [f32],
    pub world: &'a [f32],
}

impl Landmarks {
    /// The landmark on the other side of the body (0 nose, 1-6 eyes, 7-8 ears, 9-10 mouth,
    /// 11-32 pairs, 33-38 auxiliary; POSE.md).
    #[must_use]
    pub fn partner(index: usize) -> usize {
        match index {
            1..=3 => index + 3,
            4..=6 => index - 3,
            7 | 9 => index + 1,
            8 | 10 => index - 1,
            11..=32 if index % 2 == 1 => index + 1,
            11..=32 => index - 1,
            _ => index,
        }
    }
}

/// `None` where the network gave no numbers. What was read in the mirror is put back: as the
/// network knows no left from right, a mirrored person's left is his right.
pub(super) fn decode(output: &Output, roi: Roi, facing: Facing) -> Option<Landmarks> {
    let mut points = [Landmark::default(); LANDMARKS];
    let rows = output.landmarks.chunks_exact(VALUES).zip(output.world.chunks_exact(3));
    let maps = output.heatmap.chunks_exact(HEATMAP * HEATMAP);
    let (sign, place): (f64, fn(usize) -> usize) = match facing {
        Facing::AsSeen => (1.0, |i| i),
        Facing::Mirrored => (-1.0, Landmarks::partner),
    };
    for (i, ((row, world), map)) in rows.zip(maps).enumerate().take(LANDMARKS) {
        points[place(i)] = landmark(row, world, map, &roi, sign)?;
    }
    let person = Confidence::new(f64::from(output.flag))?;
    Some(Landmarks { points, person, roi, golfer: None })
}

/// `sign`: which way the crop's x runs in the picture.
fn landmark(row: &[f32], world: &[f32], map: &[f32], roi: &Roi, sign: f64) -> Option<Landmark> {
    let share = |i: usize| f64::from(row[i]) / f64::from(INPUT);
    let (x, y) = refine(share(0), share(1), map);
    Some(Landmark {
        at: roi.place(0.5 + sign * (x - 0.5), y),
        z: share(2) * roi.side,
        visibility: Confidence::new(sigmoid(row[3]))?,
        presence: Confidence::new(sigmoid(row[4]))?,
        world: unrotate(world, sign, roi.rotation),
    })
}

/// The weighted mean of the heatmap around the point, where the heatmap is sure.
fn refine(x: f64, y: f64, map: &[f32]) -> (f64, f64) {
    let (Some(column), Some(row)) = (cell(x), cell(y)) else { return (x, y) };
    let (mut peak, mut sum, mut across, mut down) = (0.0_f64, 0.0, 0.0, 0.0);
    for r in around(row) {
        for c in around(column) {
            let weight = sigmoid(map[r * HEATMAP + c]);
            peak = peak.max(weight);
            sum += weight;
            across += weight * coordinate(c);
            down += weight * coordinate(r);
        }
    }
    if peak >= SURE { (across / sum, down / sum) } else { (x, y) }
}

/// The cell that a share of the crop falls in; truncated towards zero as in the original.
#[expect(clippy::cast_possible_truncation, reason = "saturates, and is checked just below")]
fn cell(share: f64) -> Option<usize> {
    let index = (share * coordinate_scale()) as i64;
    usize::try_from(index).ok().filter(|&i| i < HEATMAP && share.is_finite())
}

fn around(cell: usize) -> std::ops::Range<usize> {
    cell.saturating_sub(REACH)..(cell + REACH + 1).min(HEATMAP)
}

#[expect(clippy::cast_precision_loss, reason = "64")]
const fn coordinate_scale() -> f64 {
    HEATMAP as f64
}

/// A cell's index as a share of the crop.
#[expect(clippy::cast_precision_loss, reason = "below 64")]
fn coordinate(cell: usize) -> f64 {
    cell as f64 / coordinate_scale()
}

/// From the crop's axes to the picture's.
fn unrotate(world: &[f32], sign: f64, rotation: f64) -> [f64; 3] {
    let (s, c) = rotation.sin_cos();
    let (x, y) = (sign * f64::from(world[0]), f64::from(world[1]));
    [c * x - s * y, s * x + c * y, f64::from(world[2])]
}

fn sigmoid(logit: f32) -> f64 {
    1.0 / (1.0 + (-f64::from(logit)).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map_with(peak: f32) -> Vec<f32> {
        let mut map = vec![-40.0; HEATMAP * HEATMAP];
        map[20 * HEATMAP + 31] = peak;
        map
    }

    #[test]
    fn a_sure_heatmap_moves_the_point_to_its_peak() {
        let (x, y) = refine(30.2 / 64.0, 21.9 / 64.0, &map_with(3.0));
        assert!((x - 31.0 / 64.0).abs() < 1e-9 && (y - 20.0 / 64.0).abs() < 1e-9);
    }

    #[test]
    fn an_unsure_or_distant_heatmap_leaves_the_point() {
        assert_eq!(refine(0.47, 0.33, &map_with(-0.1)), (0.47, 0.33));
        assert_eq!(refine(0.9, 0.33, &map_with(3.0)), (0.9, 0.33));
        assert_eq!(refine(1.2, 0.33, &map_with(3.0)), (1.2, 0.33));
        assert!(refine(f64::NAN, 0.3, &map_with(3.0)).0.is_nan());
    }

    #[test]
    fn partners_are_each_others_and_the_nose_is_its_own() {
        for i in 0..LANDMARKS {
            assert_eq!(Landmarks::partner(Landmarks::partner(i)), i);
        }
        assert_eq!([0, 11, 33].map(Landmarks::partner), [0, 12, 33]);
    }

    #[test]
    fn a_network_without_numbers_is_no_person() {
        let roi = Roi { centre: crate::frames::Pixel::new(1.0, 1.0), side: 2.0, rotation: 0.0 };
        let landmarks = [f32::NAN; LANDMARKS * VALUES];
        let heatmap = vec![0.0; LANDMARKS * HEATMAP * HEATMAP];
        let world = [0.0; LANDMARKS * 3];
        let output = Output { landmarks: &landmarks, flag: 0.9, heatmap: &heatmap, world: &world };
        assert!(decode(&output, roi, Facing::AsSeen).is_none());
    }
}
