//! What the coach gives: marks in the picture (pixels), lengths (metres), camera facts.
//! In: raw values. Out: the same, or one line that says what cannot be.

use super::{CalibrationError, Lens, View};
use crate::frames::{Handed, PictureSize, Pixel};
use crate::units::{Estimate, Radians};

/// A mark set by hand is good to about this, over a 1280-pixel picture. From memory.
const MARK_SD: f64 = 1.5;
/// Shorter lines say nothing about direction or length at that accuracy.
const LEAST_PX: u32 = 20;
/// Places nearer than this are one place, metres.
const LEAST_M: f64 = 0.05;

/// Two points of the reference picture.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Segment {
    pub from: Pixel,
    pub to: Pixel,
}

/// Where a thing of known length lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// On the ground along the toes.
    #[default]
    Feet,
    /// On the ground on the line through the ball.
    BallLine,
    /// At the height and distance of the hips.
    Hips,
}

/// Two marks on something of known length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    pub marks: Segment,
    /// Metres.
    pub length: Estimate,
    pub place: Place,
    /// How far the line through the ball lies in front of the ankles, where it is known, metres.
    pub front_m: Option<f64>,
}

impl Reference {
    /// A mark's length is read off a tape or known from the maker to about half a centimetre
    /// (common practice, no source).
    const LENGTH_SD_M: f64 = 0.005;

    /// Something whose length somebody states.
    #[must_use]
    pub fn stated(marks: Segment, length_m: f64, place: Place) -> Self {
        let length = Estimate::new(length_m, Self::LENGTH_SD_M);
        Self { marks, length, place, front_m: None }
    }
}

/// A point on the ground whose place is known, from any zero that all marks of a clip share.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct GroundMark {
    pub at: Pixel,
    /// Along the target line, metres; + = toward the target.
    pub target_m: f64,
    /// From the pupil toward the ball, metres.
    pub ball_m: f64,
}

impl GroundMark {
    /// Two marks are no more than a rod; four give eight numbers for attitude, focal length,
    /// height and the two of their own zero (FACTS C15).
    pub const FEWEST: usize = 2;
    pub const FOR_A_CAMERA: usize = 4;
}

/// What is known of the camera from outside the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CameraFacts {
    /// Angle over the picture's longer side, radians.
    pub field_of_view: Radians,
    /// Along the ground from the camera to the pupil's ankles, metres.
    pub distance: Option<Estimate>,
}

/// All that is known about one clip's camera and scale before looking at the body.
#[derive(Clone, Debug, PartialEq)]
pub struct CalibrationRequest {
    pub view: View,
    pub handed: Handed,
    pub size: PictureSize,
    /// Metres; `None` takes the population's with its spread.
    pub stature: Option<Estimate>,
    pub references: Vec<Reference>,
    pub ground: Vec<GroundMark>,
    pub camera: Option<CameraFacts>,
    /// A line that is vertical in the world.
    pub vertical: Option<Segment>,
    /// A line on the ground that runs along the target line.
    pub target_line: Option<Segment>,
    /// Sticks found on the ground; one of them may be a rod along the target line.
    pub sticks: Vec<Segment>,
    /// Natural logarithm of the focal length over the picture's longer side, from metadata.
    pub log_focal: Option<Estimate>,
    /// The marks are in the picture as it was filmed, the body in the one that this straightens.
    pub lens: Option<Lens>,
}

impl CalibrationRequest {
    /// Sd of a stature that somebody states, metres: self-reports are about a centimetre
    /// high with this spread (common practice, no source).
    pub const STATED_STATURE_SD: f64 = 0.01;

    #[must_use]
    pub fn new(view: View, handed: Handed, size: PictureSize) -> Self {
        Self {
            view,
            handed,
            size,
            stature: None,
            references: Vec::new(),
            ground: Vec::new(),
            camera: None,
            vertical: None,
            target_line: None,
            sticks: Vec::new(),
            log_focal: None,
            lens: None,
        }
    }

    /// The same with the marks straightened and the lens' focal length known.
    pub(super) fn straightened(&self) -> Self {
        let Some(lens) = self.lens else { return self.clone() };
        // inside the picture every point has its place: the lens was checked for that
        let point = |p: Pixel| lens.straightened(p).unwrap_or(p);
        let segment = |s: Segment| Segment { from: point(s.from), to: point(s.to) };
        let reference = |r: &Reference| Reference { marks: segment(r.marks), ..*r };
        Self {
            references: self.references.iter().map(reference).collect(),
            ground: self.ground.iter().map(|m| GroundMark { at: point(m.at), ..*m }).collect(),
            vertical: self.vertical.map(segment),
            target_line: self.target_line.map(segment),
            sticks: self.sticks.iter().copied().map(segment).collect(),
            log_focal: Some(lens.log_focal()),
            ..self.clone()
        }
    }

    /// Sd of a mark along x and y, pixels.
    pub(super) fn mark_sd(&self) -> f64 {
        MARK_SD * (self.size.long() / 1280.0).max(0.5)
    }

    /// # Errors
    /// When a value or a mark cannot be.
    pub(super) fn check(&self) -> Result<(), CalibrationError> {
        if let Some(stature) = self.stature {
            within("the stature", stature.value, (0.8, 2.5), ("80 cm", "250 cm"), "m")?;
        }
        for r in &self.references {
            within("the reference length", r.length.value, (0.2, 20.0), ("20 cm", "20 m"), "m")?;
            if let Some(front) = r.front_m {
                within(
                    "the reference's distance in front of the feet",
                    front,
                    (0.0, 3.0),
                    ("0", "3 m"),
                    "m",
                )?;
            }
            self.check_marks("the reference", r.marks)?;
        }
        self.check_ground()?;
        if let Some(facts) = self.camera {
            let fov = facts.field_of_view.degrees();
            within(
                "the camera's field of view",
                fov,
                (10.0, 130.0),
                ("10", "130 degrees"),
                "degrees",
            )?;
            if let Some(d) = facts.distance {
                within("the camera's distance", d.value, (1.0, 30.0), ("1 m", "30 m"), "m")?;
            }
        }
        self.vertical.map_or(Ok(()), |s| self.check_marks("the vertical", s))?;
        self.target_line.map_or(Ok(()), |s| self.check_marks("the target line", s))
    }

    fn check_ground(&self) -> Result<(), CalibrationError> {
        const WHAT: &str = "the ground";
        if (1..GroundMark::FEWEST).contains(&self.ground.len()) {
            return Err(CalibrationError::LonelyMark);
        }
        for (i, mark) in self.ground.iter().enumerate() {
            for side in [mark.target_m, mark.ball_m] {
                let (low, high) = ("-30 m", "30 m");
                within("a ground mark's place", side, (-30.0, 30.0), (low, high), "m")?;
            }
            self.check_inside(WHAT, mark.at)?;
            for other in &self.ground[..i] {
                let apart = (mark.target_m - other.target_m).hypot(mark.ball_m - other.ball_m);
                if apart < LEAST_M || mark.at.distance(other.at) < f64::from(LEAST_PX) {
                    return Err(CalibrationError::TooShort { what: WHAT, least: LEAST_PX });
                }
            }
        }
        Ok(())
    }

    fn check_inside(&self, what: &'static str, p: Pixel) -> Result<(), CalibrationError> {
        let (width, height) = (self.size.width, self.size.height);
        let inside =
            (0.0..=f64::from(width)).contains(&p.x) && (0.0..=f64::from(height)).contains(&p.y);
        if inside { Ok(()) } else { Err(CalibrationError::Outside { what, width, height }) }
    }

    fn check_marks(&self, what: &'static str, marks: Segment) -> Result<(), CalibrationError> {
        self.check_inside(what, marks.from)?;
        self.check_inside(what, marks.to)?;
        if marks.from.distance(marks.to) < f64::from(LEAST_PX) {
            return Err(CalibrationError::TooShort { what, least: LEAST_PX });
        }
        Ok(())
    }
}

fn within(
    what: &'static str,
    value: f64,
    (low, high): (f64, f64),
    (low_text, high_text): (&'static str, &'static str),
    unit: &'static str,
) -> Result<(), CalibrationError> {
    if (low..=high).contains(&value) {
        return Ok(());
    }
    let value = format!("{value:.2} {unit}");
    Err(CalibrationError::OutOfRange { what, value, low: low_text, high: high_text })
}
