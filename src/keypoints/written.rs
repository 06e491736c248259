//! How a body's landmarks are kept on disk: as a list, whose length is checked when it is read.

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
