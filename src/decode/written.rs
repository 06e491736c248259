//! How parts of a [`super::ClipInfo`] are kept on disk. In: a path, frame times. Out: text, a
//! plain list. A path that is no Unicode loses those letters; whoever opens the clip again
//! knows where it is.

/// A path as text.
pub mod path {
    use std::path::{Path, PathBuf};

    use serde::{Deserialize, Deserializer, Serializer};

    pub fn serialize<S: Serializer>(path: &Path, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&path.to_string_lossy())
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<PathBuf, D::Error> {
        String::deserialize(from).map(PathBuf::from)
    }
}

/// Frame times as a list.
pub mod ticks {
    use std::sync::Arc;

    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub fn serialize<S: Serializer>(ticks: &Arc<[i64]>, to: S) -> Result<S::Ok, S::Error> {
        ticks.as_ref().serialize(to)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Arc<[i64]>, D::Error> {
        Vec::<i64>::deserialize(from).map(Arc::from)
    }
}
