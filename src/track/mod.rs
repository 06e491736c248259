//! Stage 3. In: landmarks of every picture (several people at first). Out: the golfer
//! through time, in the axes of one reference picture, with the camera's motion taken out.

use crate::frames::{PictureSize, Pixel};
use crate::keypoints::Landmarks;
use crate::units::Seconds;

/// How a frame of the track came about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Presence {
    Seen,
    /// Interpolated across a short gap.
    Filled,
    Missing,
}

/// Similarity that takes a point of the reference picture into this frame's picture:
/// `p -> scale * rotation * p + shift` (pixels, about the picture's origin).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PictureFromReference {
    pub scale: f64,
    pub rotation: f64,
    pub shift: Pixel,
}

impl PictureFromReference {
    pub const STILL: Self = Self { scale: 1.0, rotation: 0.0, shift: Pixel { x: 0.0, y: 0.0 } };

    #[must_use]
    pub fn apply(&self, p: Pixel) -> Pixel {
        let (s, c) = self.rotation.sin_cos();
        Pixel::new(
            self.scale * (c * p.x - s * p.y) + self.shift.x,
            self.scale * (s * p.x + c * p.y) + self.shift.y,
        )
    }

    #[must_use]
    pub fn undo(&self, p: Pixel) -> Pixel {
        let (s, c) = self.rotation.sin_cos();
        let (x, y) = ((p.x - self.shift.x) / self.scale, (p.y - self.shift.y) / self.scale);
        Pixel::new(c * x + s * y, -s * x + c * y)
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct TrackedFrame {
    /// Real time since the first displayed frame of the clip.
    pub time: Seconds,
    /// Position among the clip's displayed frames.
    pub index: usize,
    pub presence: Presence,
    /// In the axes of the reference picture. `None` when missing.
    pub landmarks: Option<Landmarks>,
    pub camera: PictureFromReference,
}

/// What was done about the camera's own motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CameraMotion {
    /// The camera stood still: nothing to do.
    Still,
    /// Taken out; `residual_px` is the sd that remains at the golfer.
    Compensated { residual_px: f64 },
    /// The camera moved and the background could not be followed.
    Untrusted,
}

/// The golfer's hands in one picture of a coarse scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HandSample {
    pub time: Seconds,
    /// Middle between the wrists.
    pub hands: Pixel,
    /// One stature in pixels, roughly.
    pub size_px: f64,
}

/// The golfer through the clip, frames in time order.
#[derive(Clone, Debug, PartialEq)]
pub struct Track {
    pub size: PictureSize,
    pub frames: Vec<TrackedFrame>,
    pub motion: CameraMotion,
}
