//! How a body's landmarks and the golfer network's numbers are kept on disk: as lists, whose
//! length is checked when they are read.

use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::{LANDMARKS, Landmark};

pub fn serialize<S: Serializer>(points: &[Landmark; LANDMARKS], to: S) -> Result<S::Ok, S::Error> {
    points.as_slice().serialize(to)
}

pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<[Landmark; LANDMARKS], D::Error> {
    let points = Vec::<Landmark>::deserialize(from)?;
    let count = points.len();
    points.try_into().map_err(|_| D::Error::invalid_length(count, &"39 landmarks"))
}

pub mod numbers {
    use super::{Deserialize, Deserializer, Error, Serialize, Serializer};
    use crate::keypoints::GOLFER_VALUES;

    pub fn serialize<S: Serializer>(
        values: &[f32; GOLFER_VALUES],
        to: S,
    ) -> Result<S::Ok, S::Error> {
        values.as_slice().serialize(to)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Box<[f32; GOLFER_VALUES]>, D::Error> {
        let values = Vec::<f32>::deserialize(from)?.into_boxed_slice();
        values.try_into().map_err(|v: Box<[f32]>| D::Error::invalid_length(v.len(), &"76 numbers"))
    }
}
