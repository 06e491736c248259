//! How the corrector's errors hang together over the frames of a clip. Out: constants.
//!
//! An error has a part common to the whole clip (a person's build, the camera: it cancels
//! in travel since address) and a part that changes with the pose over a correlation time.
//!
//! Measured on whole rendered clips of people whom training never saw, by an analysis
//! of variance over the clips and the decay of the rest's correlation over lags of 1/30 s
//! (`scripts/train_lift`).

/// Of one kind of output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// Share of the variance that is common to the clip.
    pub common: f64,
    /// Correlation time of the rest, seconds.
    pub time_s: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ErrorModel {
    /// Position of a hub in the picture.
    pub hub_pixel: Correlation,
    /// Position of another point in the picture.
    pub pixel: Correlation,
    /// Depth of a point relative to the lower hub.
    pub depth: Correlation,
    pub log_stature_px: Correlation,
    pub trunk: Correlation,
    pub shoulders: Correlation,
    pub hips: Correlation,
    pub lead_arm: Correlation,
}

const fn correlation(common: f64, time_s: f64) -> Correlation {
    Correlation { common, time_s }
}

impl ErrorModel {
    /// Bodies m1, f1 and m7, kept out of training, and new people; plain and wild motion in equal parts, for
    /// real swings lie between (`models/lift.json`, calibration.ship.groups). The factors that
    /// make the stated sd true are in the network's file already.
    pub const LIFT: Self = Self {
        hub_pixel: correlation(0.439, 0.231),
        pixel: correlation(0.422, 0.184),
        depth: correlation(0.471, 0.282),
        log_stature_px: correlation(0.776, 0.311),
        trunk: correlation(0.434, 0.266),
        shoulders: correlation(0.168, 0.214),
        hips: correlation(0.326, 0.267),
        lead_arm: correlation(0.164, 0.175),
    };
}
