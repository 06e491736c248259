//! The embedded networks. In: a picture, and but for the detector a square of it. Out: people found,
//! landmarks and the golfer's points read.
//!
//! Method: tract on one thread a call. The channel-last form of the convolutions (`conv_nhwc`)
//! is the one big lever on speed (POSE.md section 4). It reads no files.

use std::io::Cursor;
use std::sync::Arc;

use image::RgbImage;
use tract_onnx::prelude::*;
use tract_onnx::tract_core::transform::get_transform;

use super::crop::{self, Border, Facing, Range, Reading, Sampling};
use super::{
    Accuracy, Detection, GOLFER_VALUES, GolferReading, LANDMARKS, Landmarks, Roi, detector,
    landmarks,
};
use crate::frames::PictureSize;

const DETECTOR: &[u8] = include_bytes!("../../models/pose_detection.onnx");
const FULL: &[u8] = include_bytes!("../../models/pose_landmark_full.onnx");
const GOLFER: &[u8] = include_bytes!("../../models/golfer.onnx");
const HEAVY: &[u8] = include_bytes!("../../models/pose_landmark_heavy.onnx");

/// The detector reads -1..1, the landmark network 0..1 (the options of both graphs).
const DETECTOR_READING: Reading = Reading {
    n: detector::INPUT,
    border: Border::Black,
    range: Range { scale: 1.0 / 127.5, offset: -1.0 },
    facing: Facing::AsSeen,
    sampling: Sampling::Point,
};
const LANDMARK_RANGE: Range = Range { scale: 1.0 / 255.0, offset: 0.0 };

type Cause = Box<dyn std::error::Error + Send + Sync>;

#[derive(Debug, thiserror::Error)]
pub enum KeypointsError {
    #[error("the {network} network inside the program does not load; build the program again")]
    Load { network: &'static str, source: Cause },
    #[error("the {network} network stopped on a picture; please report this clip's format")]
    Run { network: &'static str, source: Cause },
    #[error("a picture of 0 pixels cannot be searched for people; give one with a size")]
    EmptyPicture,
    #[error("the region to look in has no size or place; give one within the picture")]
    NoRegion,
}

/// The detector, one landmark network and the golfer network, ready to run. Threads share it by reference.
#[derive(Debug)]
pub struct Networks {
    detector: Network<2>,
    landmarks: Network<4>,
    golfer: Network<1>,
    anchors: Vec<[f64; 2]>,
}

impl Networks {
    /// Reads and optimises the embedded networks: a second or two, so do it once.
    ///
    /// # Errors
    /// [`KeypointsError::Load`] where the program was built with wrong networks.
    pub fn load(accuracy: Accuracy) -> Result<Self, KeypointsError> {
        let anchors = detector::anchors();
        let (small, landmarks) = std::thread::scope(|scope| {
            let small = scope.spawn(|| (load_detector(anchors.len()), load_golfer()));
            let landmarks = load_landmarks(accuracy);
            (small.join(), landmarks)
        });
        let (detector, golfer) = small.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        Ok(Self { detector: detector?, landmarks: landmarks?, golfer: golfer?, anchors })
    }

    /// People in the whole picture, best first.
    ///
    /// # Errors
    /// [`KeypointsError::EmptyPicture`], or [`KeypointsError::Run`] where the network stops.
    pub fn detect(&self, image: &RgbImage) -> Result<Vec<Detection>, KeypointsError> {
        self.detect_in(image, &detector::letterbox(size_of(image)?))
    }

    /// People who are too small for [`Self::detect`]: looked for in squares as wide as the picture's
    /// short side. A person may come more than once.
    ///
    /// # Errors
    /// As [`Self::detect`].
    pub fn detect_small(&self, image: &RgbImage) -> Result<Vec<Detection>, KeypointsError> {
        let mut people = Vec::new();
        for square in detector::parts(size_of(image)?) {
            people.extend(self.detect_in(image, &square)?);
        }
        Ok(people)
    }

    fn detect_in(&self, image: &RgbImage, square: &Roi) -> Result<Vec<Detection>, KeypointsError> {
        let input = crop::read(image, square, DETECTOR_READING);
        let [boxes, scores] = self.detector.run(detector::INPUT, &input)?;
        Ok(detector::people(&self.anchors, &boxes, &scores, square))
    }

    /// Landmarks of the one person in `square`. A [`Landmarks::person`] below one half says that
    /// nobody is there.
    ///
    /// # Errors
    /// [`KeypointsError::Run`] where the network stops.
    pub fn landmarks(&self, square: &Square) -> Result<Landmarks, KeypointsError> {
        let [points, flag, heatmap, world] = self.landmarks.run(landmarks::INPUT, &square.seen)?;
        let flag = flag[0];
        let output =
            landmarks::Output { landmarks: &points, flag, heatmap: &heatmap, world: &world };
        let person = landmarks::decode(&output, square.roi, square.facing);
        person.ok_or_else(|| self.landmarks.stopped("not a number"))
    }

    /// What the golfer network reads in a square; a left-hander's must be [`Facing::Mirrored`].
    ///
    /// # Errors
    /// [`KeypointsError::Run`] where the network stops.
    pub fn golfer(&self, square: &Square) -> Result<GolferReading, KeypointsError> {
        let [values] = self.golfer.run(landmarks::INPUT, &square.seen)?;
        let values = values.into_boxed_slice();
        match values.try_into() {
            Ok(values) => Some(GolferReading(values)).filter(|g| g.0.iter().all(|v| v.is_finite())),
            Err(_) => None,
        }
        .ok_or_else(|| self.golfer.stopped("not a number"))
    }
}

/// A square of a picture, cut out once for the landmark and the golfer network.
pub struct Square {
    roi: Roi,
    facing: Facing,
    seen: Vec<f32>,
}

impl Square {
    /// # Errors
    /// [`KeypointsError::EmptyPicture`], [`KeypointsError::NoRegion`].
    pub fn new(
        image: &RgbImage,
        roi: Roi,
        facing: Facing,
        sampling: Sampling,
    ) -> Result<Self, KeypointsError> {
        size_of(image)?;
        if !roi.is_usable() {
            return Err(KeypointsError::NoRegion);
        }
        let (n, border, range) = (landmarks::INPUT, Border::Replicated, LANDMARK_RANGE);
        let seen = crop::read(image, &roi, Reading { n, border, range, facing, sampling });
        Ok(Self { roi, facing, seen })
    }
}

fn size_of(image: &RgbImage) -> Result<PictureSize, KeypointsError> {
    let size = PictureSize { width: image.width(), height: image.height() };
    if size.width == 0 || size.height == 0 { Err(KeypointsError::EmptyPicture) } else { Ok(size) }
}

fn load_detector(anchors: usize) -> Result<Network<2>, KeypointsError> {
    Network::load("person detector", DETECTOR, [anchors * detector::VALUES, anchors])
}

fn load_golfer() -> Result<Network<1>, KeypointsError> {
    Network::load("golfer", GOLFER, [GOLFER_VALUES])
}

fn load_landmarks(accuracy: Accuracy) -> Result<Network<4>, KeypointsError> {
    let bytes = match accuracy {
        Accuracy::Full => FULL,
        Accuracy::Heavy => HEAVY,
    };
    let map = landmarks::HEATMAP * landmarks::HEATMAP;
    let lengths = [LANDMARKS * landmarks::VALUES, 1, LANDMARKS * map, LANDMARKS * 3];
    Network::load("landmark", bytes, lengths)
}

/// A network with `N` outputs.
#[derive(Debug)]
struct Network<const N: usize> {
    name: &'static str,
    plan: Arc<TypedRunnableModel>,
    /// Numbers in each output.
    lengths: [usize; N],
}

impl<const N: usize> Network<N> {
    fn load(name: &'static str, bytes: &[u8], lengths: [usize; N]) -> Result<Self, KeypointsError> {
        let plan = prepare(bytes)
            .map_err(|cause| KeypointsError::Load { network: name, source: cause.into() })?;
        Ok(Self { name, plan, lengths })
    }

    /// Input `[1, 3, side, side]`, outputs flattened.
    fn run(&self, side: u16, input: &[f32]) -> Result<[Vec<f32>; N], KeypointsError> {
        let side = usize::from(side);
        let outputs = Tensor::from_shape(&[1, 3, side, side], input)
            .and_then(|tensor| self.plan.run(tvec!(tensor.into_tvalue())))
            .map_err(|cause| self.stopped(cause))?;
        let mut numbers = Vec::with_capacity(N);
        for (output, length) in outputs.iter().zip(self.lengths) {
            let slice = output.to_plain_array_view::<f32>().map_err(|cause| self.stopped(cause))?;
            let values: Vec<f32> = slice.iter().copied().collect();
            if values.len() != length {
                return Err(self.stopped("an output of the wrong size"));
            }
            numbers.push(values);
        }
        numbers.try_into().map_err(|_| self.stopped("an output is missing"))
    }

    fn stopped(&self, cause: impl Into<Cause>) -> KeypointsError {
        KeypointsError::Run { network: self.name, source: cause.into() }
    }
}

fn prepare(bytes: &[u8]) -> TractResult<Arc<TypedRunnableModel>> {
    let mut model =
        onnx().model_for_read(&mut Cursor::new(bytes))?.into_typed()?.into_decluttered()?;
    if let Some(transform) = get_transform("conv_nhwc")? {
        transform.transform(&mut model)?;
    }
    model.into_optimized()?.into_runnable()
}
