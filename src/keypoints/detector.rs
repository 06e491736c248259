//! What the detector's numbers mean. In: its outputs, `boxes [2254, 12]` (centre x, y, width,
//! height, four points) and `scores [2254]` (logits), in 224ths of a letterboxed picture.
//! Out: people, best first, as squares in picture pixels.
//!
//! Method: SSD anchors and weighted non-maximum suppression as MediaPipe's
//! `SsdAnchorsCalculator`, `tensors_to_detections_calculator.cc` and
//! `non_max_suppression_calculator.cc` with the options of `pose_detection_cpu.pbtxt`
//! (google-ai-edge/mediapipe at 85c0cdc7). The box itself encloses the face and is used only
//! to tell people apart.

use super::{Detection, Roi};
use crate::frames::{PictureSize, Pixel};
use crate::units::Confidence;

/// Side of the detector's input, pixels.
pub(super) const INPUT: u16 = 224;

/// Grid sides and anchors per cell (strides 8, 16 and three times 32).
const GRIDS: [(u16, usize); 3] = [(28, 2), (14, 2), (7, 6)];

/// Numbers per box.
pub(super) const VALUES: usize = 12;

/// `min_score_thresh` of the graph.
const SEEN: f64 = 0.5;

/// `min_suppression_threshold` of the graph, intersection over union.
const OVERLAP: f64 = 0.3;

/// `score_clipping_thresh` of the graph.
const LOGIT_LIMIT: f64 = 100.0;

/// Anchor centres, shares of the letterboxed square.
pub(super) fn anchors() -> Vec<[f64; 2]> {
    let cells = |n: u16| (0..n).flat_map(move |y| (0..n).map(move |x| (x, y)));
    let centre = |i: u16, n: u16| (f64::from(i) + 0.5) / f64::from(n);
    GRIDS
        .iter()
        .flat_map(|&(n, copies)| {
            cells(n)
                .flat_map(move |(x, y)| std::iter::repeat_n([centre(x, n), centre(y, n)], copies))
        })
        .collect()
}

/// Letterbox: the square around the whole picture, centred.
pub(super) fn letterbox(size: PictureSize) -> Roi {
    Roi { centre: size.centre(), side: size.long(), rotation: 0.0 }
}

/// Squares as wide as the short side that cover the picture: in each a person looks larger than in the
/// letterbox, by the picture's long side over its short one. None of a square picture.
pub(super) fn parts(size: PictureSize) -> Vec<Roi> {
    let (width, height) = (f64::from(size.width), f64::from(size.height));
    let side = width.min(height);
    let (across, down) = ((width - side) / 2.0, (height - side) / 2.0);
    if across + down < 1.0 {
        return Vec::new();
    }
    let middle = size.centre();
    let at = |share: f64| Pixel::new(middle.x + share * across, middle.y + share * down);
    [-1.0, 0.0, 1.0].map(|share| Roi { centre: at(share), side, rotation: 0.0 }).to_vec()
}

/// People in a square of the picture, best first.
pub(super) fn people(
    anchors: &[[f64; 2]],
    boxes: &[f32],
    scores: &[f32],
    square: &Roi,
) -> Vec<Detection> {
    let faces = suppress(candidates(anchors, boxes, scores));
    faces.iter().filter_map(|face| face.detection(square)).collect()
}

/// A face box with the two points that place the body, shares of the square.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Face {
    score: f64,
    /// Left, top, right, bottom, hip x, y, size point x, y.
    values: [f64; 8],
}

impl Face {
    fn decode(anchor: [f64; 2], row: &[f32], score: f64) -> Self {
        let [ax, ay] = anchor;
        let at = |i: usize| f64::from(row[i]) / f64::from(INPUT);
        let (x, y, w, h) = (at(0) + ax, at(1) + ay, at(2) / 2.0, at(3) / 2.0);
        let points = [at(4) + ax, at(5) + ay, at(6) + ax, at(7) + ay];
        let [a, b, c, d] = points;
        Self { score, values: [x - w, y - h, x + w, y + h, a, b, c, d] }
    }

    fn area(&self) -> f64 {
        (self.values[2] - self.values[0]) * (self.values[3] - self.values[1])
    }

    fn overlap(&self, other: &Self) -> f64 {
        let (a, b) = (&self.values, &other.values);
        let width = (a[2].min(b[2]) - a[0].max(b[0])).max(0.0);
        let height = (a[3].min(b[3]) - a[1].max(b[1])).max(0.0);
        let both = width * height;
        both / (self.area() + other.area() - both).max(1e-9)
    }

    fn detection(&self, square: &Roi) -> Option<Detection> {
        let [.., hip_x, hip_y, edge_x, edge_y] = self.values;
        let place = |x: f64, y: f64| -> Pixel { square.place(x, y) };
        let roi = Roi::from_points(place(hip_x, hip_y), place(edge_x, edge_y));
        let score = Confidence::new(self.score)?;
        roi.is_usable().then_some(Detection { score, roi })
    }
}

/// Boxes over the threshold, best first; equal scores in anchor order.
fn candidates(anchors: &[[f64; 2]], boxes: &[f32], scores: &[f32]) -> Vec<Face> {
    let rows = boxes.chunks_exact(VALUES).zip(scores).zip(anchors);
    let mut faces: Vec<Face> = rows
        .map(|((row, &logit), &anchor)| Face::decode(anchor, row, probability(logit)))
        .filter(|face| face.score >= SEEN)
        .collect();
    faces.sort_by(|a, b| b.score.total_cmp(&a.score));
    faces
}

/// Weighted non-maximum suppression: everything that overlaps the best box is averaged into it.
fn suppress(mut left: Vec<Face>) -> Vec<Face> {
    let mut kept = Vec::new();
    while let Some(&best) = left.first() {
        let (near, far): (Vec<_>, Vec<_>) = left
            .into_iter()
            .enumerate()
            .partition(|(i, face)| *i == 0 || best.overlap(face) > OVERLAP);
        kept.push(average(best.score, &near));
        left = far.into_iter().map(|(_, face)| face).collect();
    }
    kept
}

fn average(score: f64, faces: &[(usize, Face)]) -> Face {
    let weight: f64 = faces.iter().map(|(_, face)| face.score).sum();
    let mean =
        |i: usize| faces.iter().map(|(_, face)| face.values[i] * face.score).sum::<f64>() / weight;
    Face { score, values: std::array::from_fn(mean) }
}

fn probability(logit: f32) -> f64 {
    let logit = f64::from(logit).clamp(-LOGIT_LIMIT, LOGIT_LIMIT);
    1.0 / (1.0 + (-logit).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn face(score: f64, left: f64) -> Face {
        Face { score, values: [left, 0.0, left + 0.2, 0.2, left, 0.5, left, 0.1] }
    }

    #[test]
    fn the_parts_of_a_picture_cover_it_and_stay_within_it() {
        for (width, height) in [(1280, 720), (720, 1280)] {
            let parts = parts(PictureSize { width, height });
            let reach = |at: fn(Pixel) -> f64| {
                let centres: Vec<f64> = parts.iter().map(|p| at(p.centre)).collect();
                let (low, high) = (centres[0], centres[centres.len() - 1]);
                assert!(centres.windows(2).all(|w| w[1] - w[0] < parts[0].side));
                (low - parts[0].side / 2.0, high + parts[0].side / 2.0)
            };
            assert_eq!(reach(|p| p.x), (0.0, f64::from(width)));
            assert_eq!(reach(|p| p.y), (0.0, f64::from(height)));
        }
        assert!(parts(PictureSize { width: 640, height: 640 }).is_empty());
    }

    #[test]
    fn there_is_an_anchor_for_every_box() {
        let anchors = anchors();
        assert_eq!(anchors.len(), 2254);
        assert_eq!(anchors[0], anchors[1]);
        assert_eq!(anchors[2], [1.5 / 28.0, 0.5 / 28.0]);
        assert_eq!(anchors[2253], [6.5 / 7.0, 6.5 / 7.0]);
    }

    #[test]
    fn overlapping_boxes_are_averaged_by_score_and_others_kept() {
        let kept = suppress(vec![face(0.9, 0.0), face(0.8, 0.7), face(0.6, 0.05)]);
        assert_eq!(kept.len(), 2);
        assert!((kept[0].values[0] - 0.05 * 0.6 / 1.5).abs() < 1e-12);
        assert_eq!((kept[0].score, kept[1].score), (0.9, 0.8));
        assert!((kept[1].values[0] - 0.7).abs() < 1e-12);
    }

    #[test]
    fn a_score_that_is_no_number_is_nobody() {
        let found = candidates(&[[0.5, 0.5]], &[0.0; VALUES], &[f32::NAN]);
        assert!(found.is_empty());
    }
}
