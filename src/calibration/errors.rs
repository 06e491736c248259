//! How the corrector's errors hang together over the frames of a clip. Out: constants.
//!
//! An error has a part common to the whole clip (a person's build, the camera: it cancels
//! in travel since address) and a part that changes with the pose over a correlation time.
//!
//! Measured on whole rendered clips of three bodies that training never saw, by an analysis
//! of variance over the clips and the decay of the rest's correlation over lags of 1/30 s
//! (`scripts/train_lift`).

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
    /// Held-out bodies m1, f1, m7, whole clips, plain and wild motion together.
    pub const LIFT: Self = Self {
        pixel: Correlation { common: 0.42, time_s: 0.19, inflation: 1.0 },
        depth: Correlation { common: 0.50, time_s: 0.27, inflation: 1.0 },
        log_stature_px: Correlation { common: 0.68, time_s: 0.19, inflation: 1.0 },
        trunk: Correlation { common: 0.42, time_s: 0.29, inflation: 1.0 },
        shoulders: Correlation { common: 0.18, time_s: 0.19, inflation: 1.0 },
        hips: Correlation { common: 0.28, time_s: 0.26, inflation: 1.0 },
        lead_arm: Correlation { common: 0.18, time_s: 0.17, inflation: 1.0 },
    };
}
