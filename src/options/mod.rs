//! Checked settings. In: what the command line was given, as text. Out: values that the
//! stages can rely on. No clap types, no files: whether a clip exists is for
//! [`crate::decode`] to say.

mod corrections;
mod ground;
mod length;
mod lens;
mod marks;

use std::path::PathBuf;

use crate::calibration::View;
use crate::frames::{Handed, Pixel};
use crate::keypoints::Accuracy;
use crate::units::{Metres, Radians};

pub use crate::calibration::{GroundMark, Place, Reference, Segment};
pub use crate::results::Correction;
pub use length::parse_length;
pub use marks::{ForClip, parse_line};

/// Heights that a pupil can have, metres: wider than any adult measured in ANSUR II (2012),
/// with room for children.
const STATURE_M: (f64, f64) = (0.8, 2.5);
/// A club head to a long tape: shorter things are too few pixels, longer do not fit the picture.
const REFERENCE_M: (f64, f64) = (0.2, 20.0);
/// From arm's length to the far end of a practice bay.
const DISTANCE_M: (f64, f64) = (1.0, 30.0);
/// Long-lens phone camera to ultra-wide one, degrees over the picture's longer side.
const FOV_DEG: (f64, f64) = (10.0, 130.0);
/// From a web camera to a high-speed one, frames a second.
const CAPTURE_FPS: (f64, f64) = (10.0, 2000.0);

/// Wrong arguments: exit code 2.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OptionsError {
    #[error("no clip given: name one with --face-on FILE or --down-the-line FILE")]
    NoClip,
    #[error(
        "{0} clips given: at most one face-on and one down-the-line clip of the same swing can be measured together"
    )]
    TooManyClips(usize),
    #[error("two clips of the same view given: measure each with a command of its own")]
    SameView,
    #[error(
        "{flag} {text} has no unit: write {text}m, {text}cm or {text}in, whichever is meant (or 5ft10in)"
    )]
    NoUnit { flag: &'static str, text: String },
    #[error("{flag} \"{text}\" is not a length: write it like 179cm, 1.79m, 5ft10in or 70in")]
    NotALength { flag: &'static str, text: String },
    #[error(
        "{flag} {text} is not a person's height: it must be between 80cm and 2.5m (2ft8in to 8ft2in)"
    )]
    NotAStature { flag: &'static str, text: String },
    #[error("{flag} {text} is out of range: it must be between {low} and {high} {unit}")]
    OutOfRange { flag: &'static str, text: String, low: f64, high: f64, unit: &'static str },
    #[error("{flag} \"{text}\" is not a number of {unit}")]
    NotANumber { flag: &'static str, text: String, unit: &'static str },
    #[error(
        "{flag} \"{text}\" is not two points of the picture: write x1,y1,x2,y2 in pixels from its top-left corner, like 412,1102,655,1098"
    )]
    NotALine { flag: &'static str, text: String },
    #[error(
        "{flag} \"{text}\" is no point of the ground: write its place in the picture, then along the target line and toward the ball from a zero of your choice, like 412,1102,120cm,-60cm"
    )]
    NotOnGround { flag: &'static str, text: String },
    #[error(
        "the two points of {flag} are too near each other: mark points at least 20 pixels apart"
    )]
    LineTooShort { flag: &'static str },
    #[error(
        "{flag} does not say which of the two clips it belongs to: write face-on: or down-the-line: before its value, and name the clips with --face-on and --down-the-line"
    )]
    WhichClip { flag: &'static str },
    #[error("{flag} is for the {view} clip, but no clip was given as that view: add --{view} FILE")]
    NoSuchClip { flag: &'static str, view: &'static str },
    #[error(
        "{flag} is for one view, and which view a clip shows is not said: fill in the column view"
    )]
    UnknownView { flag: &'static str },
    #[error("{flag} is given twice for the same clip")]
    Twice { flag: &'static str },
    #[error("this is no list of corrections: {0}")]
    NoCorrections(String),
    #[error("{flag} needs {needs} with it")]
    Needs { flag: &'static str, needs: &'static str },
}

/// Whom the coach has pointed at.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Person {
    /// Position among the clip's displayed frames.
    pub frame: usize,
    /// In the upright picture, at the hips.
    pub at: Pixel,
}

/// One clip and what the coach says about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    pub path: PathBuf,
    /// `None`: to be recognised from the body.
    pub view: Option<View>,
    /// True capture rate, frames a second of real time.
    pub capture_fps: Option<f64>,
    pub reference: Option<Reference>,
    /// A line that is vertical in the world (a wall's edge, a plumb line).
    pub vertical: Option<Segment>,
    /// A line on the ground that points at the target, from the pupil's end.
    pub target_line: Option<Segment>,
    /// Points on the ground whose places are known.
    pub ground: Vec<GroundMark>,
    /// Angle of view over the picture's longer side.
    pub camera_fov: Option<Radians>,
    /// From the camera to the pupil.
    pub camera_distance: Option<Metres>,
    /// Calibration of its lens ([`crate::calibration::Lens`]).
    pub lens: Option<PathBuf>,
    /// The pupil among several people; `None`: whoever swings.
    pub person: Option<Person>,
    /// SHA-256 of the file in hexadecimal, where it was worked out when the file came.
    pub sha256: Option<String>,
}

impl Clip {
    #[must_use]
    pub fn new(path: PathBuf, view: Option<View>) -> Self {
        Self {
            path,
            view,
            capture_fps: None,
            reference: None,
            vertical: None,
            target_line: None,
            ground: Vec::new(),
            camera_fov: None,
            camera_distance: None,
            lens: None,
            person: None,
            sha256: None,
        }
    }
}

/// Everything that `measure` was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    clips: Vec<Clip>,
    /// `None`: the population's stature with its spread.
    pub stature: Option<Metres>,
    pub handed: Handed,
    pub accuracy: Accuracy,
    /// Take a rod that lies on the ground for the target line where none is marked.
    pub find_rod: bool,
    /// What the coach has set by hand, in order; checked by [`Options::correct`].
    corrections: Vec<Correction>,
    /// Folder for the result files; `None` writes none.
    pub out: Option<PathBuf>,
    /// In the stills.
    pub blur_faces: bool,
    /// In the stills.
    pub skeleton: bool,
    /// Write an annotated slow-motion clip of the swing too.
    pub short_clip: bool,
    /// Stage timings to standard error.
    pub timings: bool,
    /// A progress bar on standard error.
    pub progress: bool,
}

/// A person's height; `flag` is what it is called where it was typed, for messages.
///
/// # Errors
/// When the text is no length, or not that of a person.
pub fn parse_stature(flag: &'static str, text: &str) -> Result<Metres, OptionsError> {
    let stature = parse_length(flag, text)?;
    if !(STATURE_M.0..=STATURE_M.1).contains(&stature.0) {
        return Err(OptionsError::NotAStature { flag, text: text.to_owned() });
    }
    Ok(stature)
}

/// Frames a second of real time; `flag` is what they are called where they were typed.
///
/// # Errors
/// When it is no possible rate.
pub fn parse_capture_fps(flag: &'static str, text: &str) -> Result<f64, OptionsError> {
    number_in(flag, text, CAPTURE_FPS, "frames a second")
}

impl Options {
    /// # Errors
    /// Unless there are one or two clips, not both of the same view.
    pub fn new(clips: Vec<Clip>) -> Result<Self, OptionsError> {
        match clips.as_slice() {
            [] => return Err(OptionsError::NoClip),
            [_] => {}
            [a, b] if a.view.is_some() && a.view == b.view => return Err(OptionsError::SameView),
            [_, _] => {}
            more => return Err(OptionsError::TooManyClips(more.len())),
        }
        Ok(Self {
            clips,
            stature: None,
            handed: Handed::Right,
            accuracy: Accuracy::default(),
            find_rod: true,
            corrections: Vec::new(),
            out: None,
            blur_faces: false,
            skeleton: false,
            short_clip: false,
            timings: false,
            progress: false,
        })
    }

    /// One or two clips, in the order given.
    #[must_use]
    pub fn clips(&self) -> &[Clip] {
        &self.clips
    }

    #[must_use]
    pub fn corrections(&self) -> &[Correction] {
        &self.corrections
    }

    /// # Errors
    /// When the text is no length, or not that of a person.
    pub fn set_stature(&mut self, text: &str) -> Result<(), OptionsError> {
        self.stature = Some(parse_stature("--stature", text)?);
        Ok(())
    }

    /// `[VIEW:]N`; without a view for every clip.
    ///
    /// # Errors
    /// When it is no possible rate or names a clip that is not there.
    pub fn set_capture_fps(&mut self, text: &str) -> Result<(), OptionsError> {
        const FLAG: &str = "--capture-fps";
        let (view, rest) = marks::split_view(text);
        let fps = parse_capture_fps(FLAG, rest)?;
        self.give_all(FLAG, view, |clip| &mut clip.capture_fps, fps)
    }

    /// `[VIEW:]DEG`; without a view for every clip.
    ///
    /// # Errors
    /// When it is no possible angle or names a clip that is not there.
    pub fn set_camera_fov(&mut self, text: &str) -> Result<(), OptionsError> {
        const FLAG: &str = "--camera-fov";
        let (view, rest) = marks::split_view(text);
        let fov = Radians(number_in(FLAG, rest, FOV_DEG, "degrees")?.to_radians());
        self.give_all(FLAG, view, |clip| &mut clip.camera_fov, fov)
    }

    /// `[VIEW:]LENGTH`; without a view for every clip. Needs the field of view first.
    ///
    /// # Errors
    /// When it is no possible distance or names a clip that is not there.
    pub fn set_camera_distance(&mut self, text: &str) -> Result<(), OptionsError> {
        const FLAG: &str = "--camera-distance";
        let (view, rest) = marks::split_view(text);
        let distance = length_in(FLAG, rest, DISTANCE_M)?;
        self.give_all(FLAG, view, |clip| &mut clip.camera_distance, distance)?;
        let blind = |c: &Clip| c.camera_distance.is_some() && c.camera_fov.is_none();
        if self.clips.iter().any(blind) {
            return Err(OptionsError::Needs { flag: FLAG, needs: "--camera-fov DEG" });
        }
        Ok(())
    }

    /// # Errors
    /// When the marks or the length are wrong, or it is unclear which clip they belong to.
    pub fn set_reference(
        &mut self,
        line: &str,
        length: &str,
        place: Place,
    ) -> Result<(), OptionsError> {
        const FLAG: &str = "--reference";
        let marked = parse_line(FLAG, line)?;
        let length = length_in("--reference-length", length, REFERENCE_M)?;
        let reference = Reference::stated(marked.value, length.0, place);
        self.give_one(FLAG, marked.view, |clip| &mut clip.reference, reference)
    }

    /// # Errors
    /// When it is no line, or it is unclear which clip it belongs to.
    pub fn set_vertical(&mut self, text: &str) -> Result<(), OptionsError> {
        let line = parse_line("--vertical", text)?;
        self.give_one("--vertical", line.view, |clip| &mut clip.vertical, line.value)
    }

    /// # Errors
    /// When it is no line, or it is unclear which clip it belongs to.
    pub fn set_target_line(&mut self, text: &str) -> Result<(), OptionsError> {
        let line = parse_line("--target-line", text)?;
        self.give_one("--target-line", line.view, |clip| &mut clip.target_line, line.value)
    }

    /// For the clip of this view, or for every clip.
    fn give_all<T: Copy>(
        &mut self,
        flag: &'static str,
        view: Option<View>,
        place: impl Fn(&mut Clip) -> &mut Option<T>,
        value: T,
    ) -> Result<(), OptionsError> {
        if view.is_some() || self.clips.len() == 1 {
            return self.give_one(flag, view, place, value);
        }
        self.clips.iter_mut().try_for_each(|clip| fill(flag, place(clip), value))
    }

    /// For the clip of this view, or for the only clip.
    fn give_one<T>(
        &mut self,
        flag: &'static str,
        view: Option<View>,
        place: impl Fn(&mut Clip) -> &mut Option<T>,
        value: T,
    ) -> Result<(), OptionsError> {
        fill(flag, place(self.one(flag, view)?), value)
    }

    /// The clip of this view, or the only clip.
    fn one(&mut self, flag: &'static str, view: Option<View>) -> Result<&mut Clip, OptionsError> {
        match (view, self.clips.as_mut_slice()) {
            (None, [only]) => Ok(only),
            (None, _) => Err(OptionsError::WhichClip { flag }),
            (Some(view), clips) => clips
                .iter_mut()
                .find(|clip| clip.view == Some(view))
                .ok_or(OptionsError::NoSuchClip { flag, view: view.name() }),
        }
    }
}

fn fill<T>(flag: &'static str, place: &mut Option<T>, value: T) -> Result<(), OptionsError> {
    if place.replace(value).is_some() {
        return Err(OptionsError::Twice { flag });
    }
    Ok(())
}

fn number_in(
    flag: &'static str,
    text: &str,
    (low, high): (f64, f64),
    unit: &'static str,
) -> Result<f64, OptionsError> {
    let Ok(number) = text.trim().parse::<f64>() else {
        return Err(OptionsError::NotANumber { flag, text: text.to_owned(), unit });
    };
    if !(low..=high).contains(&number) {
        return Err(OptionsError::OutOfRange { flag, text: text.to_owned(), low, high, unit });
    }
    Ok(number)
}

fn length_in(
    flag: &'static str,
    text: &str,
    (low, high): (f64, f64),
) -> Result<Metres, OptionsError> {
    let length = parse_length(flag, text)?;
    if !(low..=high).contains(&length.0) {
        return Err(OptionsError::OutOfRange { flag, text: text.to_owned(), low, high, unit: "m" });
    }
    Ok(length)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one() -> Options {
        Options::new(vec![Clip::new("a.mp4".into(), None)]).unwrap()
    }

    fn two() -> Options {
        let clips = vec![
            Clip::new("a.mp4".into(), Some(View::FaceOn)),
            Clip::new("b.mp4".into(), Some(View::DownTheLine)),
        ];
        Options::new(clips).unwrap()
    }

    #[test]
    fn one_or_two_clips_of_different_views() {
        assert_eq!(Options::new(vec![]), Err(OptionsError::NoClip));
        let face = Clip::new("a.mp4".into(), Some(View::FaceOn));
        assert_eq!(Options::new(vec![face.clone(), face]), Err(OptionsError::SameView));
        let any = Clip::new("a.mp4".into(), None);
        assert!(Options::new(vec![any.clone(), any.clone()]).is_ok());
        assert_eq!(
            Options::new(vec![any.clone(), any.clone(), any]),
            Err(OptionsError::TooManyClips(3))
        );
    }

    #[test]
    fn only_a_persons_height_is_a_stature() {
        let mut options = one();
        options.set_stature("179cm").unwrap();
        assert_eq!(options.stature, Some(Metres(1.79)));
        for text in ["17m", "70m", "179in", "1.79cm", "79cm", "2.51m"] {
            let error = options.set_stature(text).unwrap_err();
            assert!(matches!(error, OptionsError::NotAStature { .. }), "{text}: {error}");
        }
    }

    #[test]
    fn a_rate_without_a_view_is_for_every_clip() {
        let mut options = two();
        options.set_capture_fps("240").unwrap();
        assert!(options.clips().iter().all(|c| c.capture_fps == Some(240.0)));
        let mut options = two();
        options.set_capture_fps("down-the-line:240").unwrap();
        options.set_capture_fps("face-on:60").unwrap();
        assert_eq!(options.clips()[0].capture_fps, Some(60.0));
        assert_eq!(
            options.set_capture_fps("face-on:60"),
            Err(OptionsError::Twice { flag: "--capture-fps" })
        );
        for text in ["0", "-240", "NaN", "1e9", "fast"] {
            assert!(one().set_capture_fps(text).is_err(), "{text}");
        }
    }

    #[test]
    fn marks_belong_to_one_clip() {
        let line = "412,1102,655,1098";
        one().set_vertical(line).unwrap();
        assert_eq!(two().set_vertical(line), Err(OptionsError::WhichClip { flag: "--vertical" }));
        let mut options = two();
        options.set_target_line(&format!("down-the-line:{line}")).unwrap();
        assert!(
            options.clips()[1].target_line.is_some() && options.clips()[0].target_line.is_none()
        );
        let error = one().set_vertical(&format!("face-on:{line}")).unwrap_err();
        assert_eq!(error, OptionsError::NoSuchClip { flag: "--vertical", view: "face-on" });
    }

    #[test]
    fn a_reference_has_a_length_and_a_distance_needs_a_field_of_view() {
        let mut options = one();
        options.set_reference("412,1102,655,1098", "122cm", Place::BallLine).unwrap();
        let reference = options.clips()[0].reference.unwrap();
        assert_eq!((reference.length.value, reference.place), (1.22, Place::BallLine));
        assert!(one().set_reference("412,1102,655,1098", "122", Place::Feet).is_err());
        assert!(one().set_reference("412,1102,655,1098", "1cm", Place::Feet).is_err());
        assert!(matches!(one().set_camera_distance("3.5m"), Err(OptionsError::Needs { .. })));
        let mut options = one();
        options.set_camera_fov("65").unwrap();
        options.set_camera_distance("3.5m").unwrap();
    }

    #[test]
    fn every_message_is_one_line() {
        for error in [
            one().set_stature("1.79").unwrap_err(),
            one().set_stature("17m").unwrap_err(),
            two().set_vertical("1,2,300,400").unwrap_err(),
            one().set_camera_fov("500").unwrap_err(),
        ] {
            assert!(!error.to_string().contains('\n'), "{error}");
        }
    }
}
