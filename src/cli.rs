//! Command-line types only. In: arguments. Out: text for [`crate::options`] to check.

pub mod desk;
pub mod hand_out;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::calibration::View;
use crate::frames::Handed;
use crate::keypoints::Accuracy;
use crate::options::{Clip, Options, OptionsError, Place};

/// Measures from phone clips how far a golfer's pelvis and breastbone moved in the swing.
#[derive(Debug, Parser)]
#[command(name = "hubgauge", version, max_term_width = 100)]
pub struct Cli {
    /// None: the page is opened
    #[command(subcommand)]
    pub command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Open the coach's page in the browser (also without any command)
    Open(OpenArgs),
    /// Measure one swing, filmed face-on, down-the-line or both
    Measure(Box<MeasureArgs>),
    /// Say in words what a result file holds, and where its uncertainty comes from
    Explain(ExplainArgs),
    /// Compare swings from before with swings from after: what moved, how far, how sure
    Compare(Box<desk::CompareArgs>),
    /// Pupils on record
    Pupil(desk::OnLibrary<desk::PupilCommand>),
    /// Lessons of a pupil: swings, histories, practice tasks, ball-flight numbers
    Lesson(desk::OnLibrary<desk::LessonCommand>),
    /// Backup, restore and check of the record
    Library(desk::OnLibrary<desk::LibraryCommand>),
    /// Draw a chart: the hub ladder of a swing, one swing over another, the map from above
    Chart(hand_out::ChartArgs),
    /// Make the pupil's sheet: one page with pictures, changes and what to work on
    Sheet(Box<hand_out::SheetArgs>),
    /// Show the practice tasks and where their file is
    Tasks(hand_out::TasksArgs),
    /// Measure many swings, from folders or a table
    Batch(desk::BatchArgs),
}

#[derive(Debug, Default, Args)]
pub struct OpenArgs {
    /// Port on 127.0.0.1 [default: any free one]
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    pub port: u16,

    /// Only print the address
    #[arg(long)]
    pub no_browser: bool,

    /// Folder where a phone's clips arrive: new ones are taken up by themselves
    #[arg(long, value_name = "DIR")]
    pub watch: Option<PathBuf>,

    /// Largest clip that is taken, with its unit [default: 4GB]
    #[arg(long, value_name = "SIZE")]
    pub max_upload: Option<String>,

    #[command(flatten)]
    pub at: desk::LibraryArg,
}

#[derive(Debug, Args)]
#[command(after_long_help = AFTER_MEASURE)]
pub struct MeasureArgs {
    /// Clips whose view is recognised from the body (instead of the two options below)
    #[arg(value_name = "FILE")]
    pub files: Vec<PathBuf>,

    /// Clip filmed square to the target line, looking at the pupil's chest
    #[arg(long, value_name = "FILE")]
    pub face_on: Option<PathBuf>,

    /// Clip filmed along the target line, from behind the hands
    #[arg(long, value_name = "FILE")]
    pub down_the_line: Option<PathBuf>,

    /// The pupil's height with its unit: 179cm, 1.79m, 5ft10in or 70in
    ///
    /// It turns pixels into centimetres. Without it an average adult is assumed, unless
    /// --reference, --ground or --camera-distance fixes the scale, and every distance is less
    /// certain.
    #[arg(long, value_name = "LENGTH")]
    pub stature: Option<String>,

    /// Right- or left-handed pupil
    #[arg(long, value_enum, default_value_t = HandedArg::Right, conflicts_with = "pupil")]
    pub handed: HandedArg,

    /// Frames a second at which the phone filmed, for slow motion stored stretched
    ///
    /// Needed when a 240-frames-a-second swing plays slowly in any player and the clip does
    /// not say so itself. With two clips write VIEW:N to mean one of them.
    #[arg(long, value_name = "[VIEW:]N")]
    pub capture_fps: Vec<String>,

    /// Folder for swing.json, series.csv and the stills; made when missing
    ///
    /// Without it only the table (or --json) is printed.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,

    /// Print the result file (JSON) to standard output instead of the table
    #[arg(long)]
    pub json: bool,

    /// Pose network: heavy takes twice the time and read rendered golfers no better
    #[arg(long, value_enum, default_value_t = AccuracyArg::Full)]
    pub accuracy: AccuracyArg,

    /// Make faces unrecognisable in the stills
    #[arg(long)]
    pub blur_faces: bool,

    /// Draw limbs in the stills too
    #[arg(long)]
    pub skeleton: bool,

    /// Write an annotated slow-motion clip of the swing too (with --out)
    #[arg(long, requires = "out")]
    pub short_clip: bool,

    /// Two points on something of known length, pixels of the upright picture
    #[arg(
        long,
        value_name = "[VIEW:]x1,y1,x2,y2",
        requires = "reference_length",
        help_heading = "Marks"
    )]
    pub reference: Option<String>,

    /// How long that is, with its unit: 122cm, 48in
    #[arg(long, value_name = "LENGTH", requires = "reference", help_heading = "Marks")]
    pub reference_length: Option<String>,

    /// Where it lies: on the ground at the toes, on the ground on the line through the ball,
    /// or at the hips
    #[arg(long, value_enum, requires = "reference", default_value_t = PlaceArg::Feet, help_heading = "Marks")]
    pub reference_place: PlaceArg,

    /// Two points on an edge that is vertical in the world, such as a door frame
    #[arg(long, value_name = "[VIEW:]x1,y1,x2,y2", help_heading = "Marks")]
    pub vertical: Vec<String>,

    /// Two points on the ground along the target line
    #[arg(long, value_name = "[VIEW:]x1,y1,x2,y2", help_heading = "Marks")]
    pub target_line: Vec<String>,

    /// Look for no alignment rod on the ground: else one that is found is taken for the target line
    /// where none is marked, and the notes say so
    #[arg(long, help_heading = "Marks")]
    pub no_rod: bool,

    /// A point on the ground whose place is known, once for each: where the picture shows it, then
    /// how far along the target line and toward the ball, from any zero; four fix the camera
    #[arg(long, value_name = "[VIEW:]x,y,TARGET,BALL", help_heading = "Marks")]
    pub ground: Vec<String>,

    /// The camera's angle of view over the picture's longer side, degrees
    #[arg(long, value_name = "[VIEW:]DEG", help_heading = "Marks")]
    pub camera_fov: Vec<String>,

    /// From the camera to the pupil, with its unit: 3.5m, 11ft6in (with --camera-fov)
    #[arg(long, value_name = "[VIEW:]LENGTH", help_heading = "Marks")]
    pub camera_distance: Vec<String>,

    /// Calibration of the lens, JSON with OpenCV's names: image_size, camera_matrix,
    /// dist_coeffs (k1 k2 p1 p2 k3), and focal_sd_px where it is known
    #[arg(long, value_name = "[VIEW:]FILE.json", help_heading = "Marks")]
    pub lens: Vec<String>,

    /// What was set by hand, as a JSON list such as swing.json's "corrections"
    #[arg(long, value_name = "FILE.json", help_heading = "Marks")]
    pub corrections: Option<PathBuf>,

    #[command(flatten)]
    pub store: desk::StoreArgs,

    /// Print how long each stage took to standard error
    #[arg(long)]
    pub timings: bool,
}

const AFTER_MEASURE: &str = "\
Examples:
  hubgauge measure --face-on swing.mov --stature 179cm --out lesson
  hubgauge measure --face-on a.mov --down-the-line b.mov --stature 5ft10in --out lesson
  hubgauge measure swing.mov --stature 1.66m --handed left

VIEW is face-on or down-the-line; it says which of two clips a value belongs to.

Exit status: 0 measured (values that the clip cannot support are missing, with the reason),
1 not measurable, 2 wrong arguments.";

#[derive(Debug, Args)]
pub struct ExplainArgs {
    /// A swing.json that hubgauge wrote
    #[arg(value_name = "RESULT")]
    pub result: PathBuf,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum HandedArg {
    Right,
    Left,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum AccuracyArg {
    Full,
    Heavy,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum PlaceArg {
    Feet,
    BallLine,
    Hips,
}

impl MeasureArgs {
    /// # Errors
    /// When a value makes no sense, alone or with the others.
    pub fn options(self, progress: bool) -> Result<Options, OptionsError> {
        let mut options = Options::new(clips(self.files, self.face_on, self.down_the_line))?;
        self.stature.iter().try_for_each(|text| options.set_stature(text))?;
        self.capture_fps.iter().try_for_each(|text| options.set_capture_fps(text))?;
        self.camera_fov.iter().try_for_each(|text| options.set_camera_fov(text))?;
        self.camera_distance.iter().try_for_each(|text| options.set_camera_distance(text))?;
        self.lens.iter().try_for_each(|text| options.set_lens(text))?;
        self.vertical.iter().try_for_each(|text| options.set_vertical(text))?;
        self.target_line.iter().try_for_each(|text| options.set_target_line(text))?;
        self.ground.iter().try_for_each(|text| options.set_ground(text))?;
        if let (Some(line), Some(length)) = (&self.reference, &self.reference_length) {
            options.set_reference(line, length, self.reference_place.into())?;
        }
        if let Some(file) = &self.corrections {
            let text = std::fs::read_to_string(file)
                .map_err(|e| OptionsError::NoCorrections(format!("{}: {e}", file.display())))?;
            options.set_corrections(&text)?;
        }
        options.handed = self.handed.into();
        options.accuracy = self.accuracy.into();
        options.find_rod = !self.no_rod;
        options.out = self.out;
        options.blur_faces = self.blur_faces;
        options.skeleton = self.skeleton;
        options.short_clip = self.short_clip;
        options.timings = self.timings;
        options.progress = progress;
        Ok(options)
    }
}

fn clips(
    bare: Vec<PathBuf>,
    face_on: Option<PathBuf>,
    down_the_line: Option<PathBuf>,
) -> Vec<Clip> {
    let named = [(face_on, View::FaceOn), (down_the_line, View::DownTheLine)];
    let named = named.into_iter().filter_map(|(path, view)| Some(Clip::new(path?, Some(view))));
    named.chain(bare.into_iter().map(|path| Clip::new(path, None))).collect()
}

impl From<HandedArg> for Handed {
    fn from(arg: HandedArg) -> Self {
        match arg {
            HandedArg::Right => Self::Right,
            HandedArg::Left => Self::Left,
        }
    }
}

impl From<AccuracyArg> for Accuracy {
    fn from(arg: AccuracyArg) -> Self {
        match arg {
            AccuracyArg::Full => Self::Full,
            AccuracyArg::Heavy => Self::Heavy,
        }
    }
}

impl From<PlaceArg> for Place {
    fn from(arg: PlaceArg) -> Self {
        match arg {
            PlaceArg::Feet => Self::Feet,
            PlaceArg::BallLine => Self::BallLine,
            PlaceArg::Hips => Self::Hips,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    fn options(line: &str) -> Result<Options, OptionsError> {
        let cli = Cli::try_parse_from(line.split_whitespace()).unwrap();
        let Some(Command::Measure(args)) = cli.command else { panic!("not measure") };
        args.options(false)
    }

    #[test]
    fn clap_finds_nothing_wrong_with_the_types() {
        Cli::command().debug_assert();
    }

    #[test]
    fn named_and_bare_clips() {
        let both = options("hubgauge measure --down-the-line b.mp4 --face-on a.mp4").unwrap();
        let views: Vec<_> = both.clips().iter().map(|c| c.view).collect();
        assert_eq!(views, [Some(View::FaceOn), Some(View::DownTheLine)]);
        assert_eq!(options("hubgauge measure a.mp4 b.mp4").unwrap().clips()[1].view, None);
        assert_eq!(options("hubgauge measure"), Err(OptionsError::NoClip));
    }

    #[test]
    fn the_camera_may_be_given_in_any_order() {
        let line = "hubgauge measure a.mp4 --camera-distance 3.5m --camera-fov 65";
        assert!(options(line).unwrap().clips()[0].camera_distance.is_some());
    }
}
