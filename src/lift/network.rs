//! In: input rows of the frames of one clip. Out: each frame's answer and the clip's camera.
//!
//! Runs `models/lift.onnx` through tract. The network takes 64 frames at once, in any order;
//! a longer clip goes through in interleaved groups of near-equal size, so that every group
//! spans the whole clip.

use std::io::Cursor;
use std::sync::Arc;

use tract_onnx::prelude::*;

use super::LiftError;
use super::input::FEATURES;
use super::output::{Answer, CLIP_VALUES, VALUES};
use crate::units::Estimate;

/// Frames the network takes at once.
pub const SET: usize = 64;

static MODEL: &[u8] = include_bytes!("../../models/lift.onnx");

/// The loaded network; load it once.
pub struct Corrector {
    plan: Arc<TypedRunnableModel>,
}

/// What the network says about a clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Answers {
    /// In the order of the rows.
    pub frames: Vec<Answer>,
    /// One view of the camera for each group of frames.
    pub cameras: Vec<[Estimate; CLIP_VALUES]>,
}

impl Corrector {
    /// # Errors
    /// When the built-in network does not load, which means a damaged build.
    pub fn load() -> Result<Self, LiftError> {
        let fail = |e: TractError| LiftError::Network(e.to_string());
        let plan = tract_onnx::onnx()
            .model_for_read(&mut Cursor::new(MODEL))
            .and_then(InferenceModelExt::into_optimized)
            .and_then(IntoRunnable::into_runnable)
            .map_err(fail)?;
        Ok(Self { plan })
    }

    /// # Errors
    /// When the network fails or answers with something that is no number.
    pub fn run(&self, rows: &[[f32; FEATURES]]) -> Result<Answers, LiftError> {
        let groups = rows.len().div_ceil(SET);
        let mut answers = vec![None; rows.len()];
        let mut cameras = Vec::with_capacity(groups);
        for group in 0..groups {
            let members: Vec<usize> = (group..rows.len()).step_by(groups).collect();
            let (frames, camera) = self.run_group(rows, &members)?;
            for (&i, answer) in members.iter().zip(frames) {
                answers[i] = Some(answer);
            }
            cameras.push(camera);
        }
        let frames = answers.into_iter().flatten().collect();
        Ok(Answers { frames, cameras })
    }

    fn run_group(
        &self,
        rows: &[[f32; FEATURES]],
        members: &[usize],
    ) -> Result<(Vec<Answer>, [Estimate; CLIP_VALUES]), LiftError> {
        let fail = |e: TractError| LiftError::Network(e.to_string());
        let x = tract_ndarray::Array3::from_shape_fn((1, SET, FEATURES), |(_, n, f)| {
            // padding repeats the last frame and is masked out
            let n = n.min(members.len() - 1);
            rows[members[n]][f]
        });
        let mask = tract_ndarray::Array2::from_shape_fn((1, SET), |(_, n)| {
            if n < members.len() { 1.0_f32 } else { 0.0 }
        });
        let out = self
            .plan
            .run(tvec!(x.into_tensor().into(), mask.into_tensor().into()))
            .map_err(fail)?;
        let flat = |i: usize| -> Result<Vec<f32>, LiftError> {
            let view = out[i].to_plain_array_view::<f32>().map_err(fail)?;
            Ok(view.iter().copied().collect())
        };
        let (value, sd, clip, clip_sd) = (flat(0)?, flat(1)?, flat(2)?, flat(3)?);
        if value.iter().chain(&sd).chain(&clip).chain(&clip_sd).any(|v| !v.is_finite()) {
            return Err(LiftError::Network("its answer is not a number".into()));
        }
        let frames = members
            .iter()
            .enumerate()
            .map(|(n, _)| Answer { value: cut(&value, n), sd: cut(&sd, n) })
            .collect();
        let camera =
            std::array::from_fn(|i| Estimate::new(f64::from(clip[i]), f64::from(clip_sd[i])));
        Ok((frames, camera))
    }
}

/// Row `n` of a flat `[SET, VALUES]` array.
fn cut(flat: &[f32], n: usize) -> [f32; VALUES] {
    std::array::from_fn(|k| flat[n * VALUES + k])
}
