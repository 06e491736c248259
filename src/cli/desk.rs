//! Command-line types of what goes on around the library. In: arguments. Out: text for
//! [`crate::desk`] to check.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::HandedArg;
use super::hand_out::StyleArgs;

/// Where the library is.
#[derive(Clone, Debug, Default, Args)]
pub struct LibraryArg {
    /// Folder of the library [default: $XDG_DATA_HOME/hubgauge, else ~/.local/share/hubgauge]
    #[arg(long, value_name = "DIR", global = true, help_heading = "Library")]
    pub library: Option<PathBuf>,
}

/// A command on the library.
#[derive(Debug, Args)]
pub struct OnLibrary<C: Subcommand> {
    #[command(subcommand)]
    pub command: C,

    #[command(flatten)]
    pub at: LibraryArg,
}

/// The day of a lesson.
#[derive(Clone, Debug, Default, Args)]
pub struct DayArg {
    /// Day of the lesson [default: today]
    #[arg(long = "date", value_name = "YYYY-MM-DD", requires = "pupil", help_heading = "Library")]
    pub day: Option<String>,
}

/// What the coach says about a swing; empty where he says nothing.
#[derive(Clone, Debug, Default, Args)]
pub struct SaidArgs {
    /// What to call the swing: before, after or any word
    #[arg(long, value_name = "WORD", requires = "pupil", help_heading = "Library")]
    pub label: Option<String>,

    /// The club, in words: 7 iron
    #[arg(long, value_name = "TEXT", requires = "pupil", help_heading = "Library")]
    pub club: Option<String>,

    /// The ball, in words
    #[arg(long, value_name = "TEXT", requires = "pupil", help_heading = "Library")]
    pub ball: Option<String>,

    /// How the camera stands, in words
    #[arg(long, value_name = "TEXT", requires = "pupil", help_heading = "Library")]
    pub setup: Option<String>,
}

/// What `measure` puts on record.
#[derive(Clone, Debug, Default, Args)]
pub struct StoreArgs {
    /// Store the result for this pupil; hand and height are taken from the record
    #[arg(long, value_name = "NAME", help_heading = "Library")]
    pub pupil: Option<String>,

    #[command(flatten)]
    pub said: SaidArgs,

    #[command(flatten)]
    pub day: DayArg,

    /// Copy the clips into the library (for a pupil who agreed)
    #[arg(long, requires = "pupil", help_heading = "Library")]
    pub copy_clips: bool,

    #[command(flatten)]
    pub at: LibraryArg,
}

#[derive(Debug, Args)]
#[command(after_long_help = AFTER_COMPARE)]
pub struct CompareArgs {
    /// Results (swing.json) from before
    #[arg(long, value_name = "FILE", num_args = 1.., required_unless_present = "pupil", requires = "after")]
    pub before: Vec<PathBuf>,

    /// Results (swing.json) from after
    #[arg(long, value_name = "FILE", num_args = 1.., requires = "before")]
    pub after: Vec<PathBuf>,

    /// Take the swings labelled before and after from the pupil's record
    #[arg(long, value_name = "NAME", conflicts_with = "before")]
    pub pupil: Option<String>,

    /// Label of the swings from before
    #[arg(long, value_name = "WORD", requires = "pupil", default_value = "before")]
    pub before_label: String,

    /// Label of the swings from after
    #[arg(long, value_name = "WORD", requires = "pupil", default_value = "after")]
    pub after_label: String,

    /// Only swings of this day from before
    #[arg(long, value_name = "YYYY-MM-DD", requires = "pupil")]
    pub before_date: Option<String>,

    /// Only swings of this day from after
    #[arg(long, value_name = "YYYY-MM-DD", requires = "pupil")]
    pub after_date: Option<String>,

    /// The camera stood where it stood, with the same zoom: what both sides share cancels
    #[arg(long)]
    pub same_setup: bool,

    /// Look at these values, such as top.lower_hub_target; or all (everything at top and impact)
    /// [default: travel of both hubs along the target line and to the ball at the top]
    ///
    /// The fewer values are looked at together, the easier a real change is to show.
    #[arg(long, value_name = "KEY", num_args = 1.., value_delimiter = ',')]
    pub look_at: Vec<String>,

    /// Your own target for a value, such as top.lower_hub_target=-2cm
    #[arg(long, value_name = "KEY=VALUE")]
    pub target: Vec<String>,

    /// Print the comparison as JSON
    #[arg(long)]
    pub json: bool,

    #[command(flatten)]
    pub at: LibraryArg,
}

const AFTER_COMPARE: &str = "\
Examples:
  hubgauge compare --before a/swing.json b/swing.json --after c/swing.json d/swing.json --same-setup
  hubgauge compare --pupil Anna --same-setup --look-at top.lower_hub_target,top.upper_hub_target

Exit status: 0 compared, 1 not comparable, 2 wrong arguments.";

#[derive(Debug, Subcommand)]
pub enum PupilCommand {
    /// Put a pupil on record, by a name or an alias
    Add {
        name: String,
        /// Height with its unit: 179cm, 1.79m, 5ft10in or 70in
        #[arg(long, value_name = "LENGTH")]
        stature: Option<String>,
        #[arg(long, value_enum, default_value_t = HandedArg::Right)]
        handed: HandedArg,
        /// Not of age
        #[arg(long)]
        minor: bool,
        /// The pupil (or a guardian) agreed that clips are kept
        #[arg(long)]
        keep_pictures: bool,
        #[arg(long, default_value = "", hide_default_value = true)]
        notes: String,
    },
    /// List the pupils
    List {
        #[arg(long)]
        json: bool,
    },
    /// Set your own target for a value of the pupil
    Target {
        name: String,
        /// Such as top.lower_hub_target=-2cm
        target: String,
    },
    /// Write everything about a pupil into a new folder
    Export {
        name: String,
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
    },
    /// Remove a pupil, with everything on record, from the library's files
    Erase {
        name: String,
        /// Yes, really
        #[arg(long, required = true)]
        yes: bool,
    },
}

#[derive(Debug, Subcommand)]
pub enum LessonCommand {
    /// Store results that were measured before (swing.json, or those of a batch)
    Add {
        pupil: String,
        #[arg(required = true, value_name = "FILE")]
        results: Vec<PathBuf>,
        #[command(flatten)]
        said: SaidArgs,
        #[command(flatten)]
        day: DayArg,
    },
    /// List a pupil's lessons and tasks; with --date the swings of that day
    List {
        pupil: String,
        #[arg(long, value_name = "YYYY-MM-DD", conflicts_with = "json")]
        date: Option<String>,
        #[arg(long)]
        json: bool,
    },
    /// One value of a pupil over all lessons
    History {
        pupil: String,
        /// Such as top.lower_hub_target
        key: String,
        #[arg(long)]
        json: bool,
        /// Draw it into this file; its ending (svg, png or pdf) says what it will be
        #[arg(long, value_name = "FILE", conflicts_with = "json")]
        out: Option<PathBuf>,
        #[command(flatten)]
        style: StyleArgs,
    },
    /// Note a practice task that was given
    Task {
        pupil: String,
        what: String,
        #[command(flatten)]
        day: DayArg,
    },
    /// Note a correction by hand beside a swing
    Correct {
        /// The swing's number, from `lesson list --date`
        swing: i64,
        what: String,
    },
    /// Store ball-flight numbers of a swing, typed or from a CSV
    #[command(after_long_help = AFTER_FLIGHT)]
    Flight {
        /// The swing's number, from `lesson list --date`
        #[arg(required_unless_present = "csv", requires = "numbers")]
        swing: Option<i64>,
        /// Such as "attack_angle [deg]=-4.1"
        numbers: Vec<String>,
        /// Columns: swing, and numbers named like attack_angle [deg]
        #[arg(long, value_name = "FILE", conflicts_with = "swing")]
        csv: Option<PathBuf>,
    },
}

const AFTER_FLIGHT: &str = "\
Names that are known, with what their sign means. It is a right-handed player's; a left-handed one
is mirrored: turn the sign of a device that counts right as + for everybody. Other names are kept
and compared too.
  attack_angle      + the club head moves up at impact, - down
  club_path         + in-to-out, - out-to-in, at impact
  face_angle        + open, - closed, against the target line
  face_to_path      + open, - closed, against the club path
  dynamic_loft      loft of the face at impact, + looking up
  swing_direction   + in-to-out, - out-to-in, of the arc's plane over the ground
  swing_plane       from level, 0 to 90
  low_point         + past the ball toward the target, - before the ball
  club_speed        never negative
  ball_speed        never negative
  launch_angle      + up
  launch_direction  + right of the target line
  spin_rate         never negative
  spin_axis         + tilted so that the ball curves right
  carry             never negative
  total             never negative
  side              + right of the target line
  apex              never negative

Units: deg, m/s, km/h, mph, rpm, m, yd, cm, s, ratio.

Examples:
  hubgauge lesson flight 12 \"attack_angle [deg]=-4.1\" \"club_path [deg]=1.5\"
  hubgauge lesson flight --csv flight.csv";

#[derive(Debug, Subcommand)]
pub enum LibraryCommand {
    /// Write the whole record to one new file, while the library is in use (copied clips not)
    Backup { file: PathBuf },
    /// Make a library from a backup, in a folder that holds none
    Restore { file: PathBuf },
    /// Check that the library is sound
    Check,
}

#[derive(Debug, Args)]
pub struct BatchArgs {
    /// Folders of clips (one swing a clip), or one manifest (CSV)
    #[arg(value_name = "FOLDER|CSV", required = true)]
    pub inputs: Vec<PathBuf>,

    /// Folder for the results; what lies there already is not measured again
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,

    /// Measure only every n-th swing, the i-th of them: 1/4 to 4/4 share the work of four
    #[arg(long, value_name = "I/N")]
    pub shard: Option<String>,

    /// Height of pupils whose row gives none
    #[arg(long, value_name = "LENGTH")]
    pub stature: Option<String>,

    /// Calibration of the lens (as measure takes it) of clips whose row gives none
    #[arg(long, value_name = "[VIEW:]FILE.json")]
    pub lens: Vec<String>,

    /// Measure again what failed before
    #[arg(long)]
    pub retry_failed: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::Quantity;

    #[test]
    fn the_help_says_what_every_sign_means() {
        for quantity in Quantity::ALL {
            let line = format!("  {:<18}{}\n", quantity.name(), quantity.sign());
            assert!(AFTER_FLIGHT.contains(&line), "{line}");
        }
    }
}
