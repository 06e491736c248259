//! How the corrector's errors hang together over the frames of a clip. Out: constants.
//!
//! An error has a part common to the whole clip (a person's build, the camera: it cancels
//! in travel since address) and a part that changes with the pose over a correlation time.
//!
//! Measured on the held-out whole clips of ../shared/lifting by `scripts/train_lift`; until
//! then placeholders, named so.

/// Of one kind of output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// Share of the variance that is common to the clip.
    pub common: f64,
    /// Correlation time of the rest, seconds.
    pub time_s: f64,
    /// Factor on the stated sd that makes it true.
    pub inflation: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ErrorModel {
    /// Position of a point in the picture.
    pub pixel: Correlation,
    /// Depth of a point relative to the lower hub.
    pub depth: Correlation,
    pub log_stature_px: Correlation,
    pub trunk: Correlation,
    pub shoulders: Correlation,
    pub hips: Correlation,
    pub lead_arm: Correlation,
}

impl ErrorModel {
    /// Placeholder: half of the variance common, the rest as slow as the pose.
    const GUESS: Correlation = Correlation { common: 0.5, time_s: 0.1, inflation: 1.0 };

    pub const LIFT: Self = Self {
        pixel: Self::GUESS,
        depth: Self::GUESS,
        log_stature_px: Correlation { common: 0.9, time_s: 0.1, inflation: 1.0 },
        trunk: Self::GUESS,
        shoulders: Self::GUESS,
        hips: Self::GUESS,
        lead_arm: Self::GUESS,
    };
}
