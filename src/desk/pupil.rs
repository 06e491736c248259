//! `hubgauge pupil`. In: the command. Out: what was done, in words.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use crate::cli::desk::{OnLibrary, PupilCommand};
use crate::decode::{self, Frames};
use crate::error::Error;
use crate::events::Event;
use crate::frames::Handed;
use crate::options::parse_stature;
use crate::record::{Pupil, RecordError, Stored};
use crate::results::event_key;
use crate::warning::counted;

/// # Errors
/// When the library refuses.
pub fn pupil(args: OnLibrary<PupilCommand>) -> Result<String, Error> {
    let at = args.at;
    match args.command {
        PupilCommand::Add { name, stature, handed, minor, keep_pictures, notes } => {
            let stature_m =
                stature.map(|text| parse_stature("--stature", &text)).transpose()?.map(|m| m.0);
            let handed = handed.into();
            let pupil = Pupil { name, stature_m, handed, minor, keep_pictures, notes };
            super::open(&at)?.add_pupil(&pupil)?;
            Ok(format!("{} is on record.\n", pupil.name.trim()))
        }
        PupilCommand::List { json } => {
            let pupils = super::open(&at)?.pupils()?;
            if json { super::json(&pupils) } else { Ok(listed(&pupils)) }
        }
        PupilCommand::Target { name, target } => {
            super::open(&at)?.set_target(&name, target.parse()?)?;
            Ok(format!("Target {target} is on record for {name}.\n"))
        }
        PupilCommand::Export { name, out } => {
            let (swings, clips) = super::open(&at)?.export(&name, &out, &pictures)?;
            let (swings, clips) = (counted(swings, "swing"), counted(clips, "clip"));
            Ok(format!("Wrote {swings} and {clips} of {name} to {}.\n", out.display()))
        }
        PupilCommand::Erase { name, yes: _ } => {
            let erased = super::open(&at)?.erase(&name)?;
            let mut out = format!(
                "{name} is erased: {} and {} are gone from the library's files.\nBackups and exports made earlier still hold them.\n",
                counted(erased.swings, "swing"),
                counted(erased.clips, "copied clip")
            );
            for path in erased.left {
                let _ = writeln!(
                    out,
                    "This clip was kept in place and is still there: {}",
                    path.display()
                );
            }
            Ok(out)
        }
    }
}

/// Where the swing is looked at: at address, at the top and at impact.
const SHOWN: [Event; 3] = [Event::Address, Event::Top, Event::Impact];

/// The frames of each clip at these events, as they were filmed.
fn pictures(
    swing: &Stored,
    clips: &[(String, PathBuf)],
    folder: &Path,
) -> Result<Vec<String>, RecordError> {
    let mut names = Vec::new();
    for clip in &swing.result.clips {
        let Some((_, path)) = clips.iter().find(|(sha256, _)| *sha256 == clip.sha256) else {
            continue;
        };
        // A clip that no longer opens is exported as it is; its pictures are what is missing.
        let Ok(mut frames) = decode::probe(path).and_then(|clip| Frames::open(&clip.output)) else {
            continue;
        };
        for event in SHOWN {
            let entry = swing.result.events.get(&event);
            let Some(&index) = entry.and_then(|e| e.frames.get(&clip.view)) else { continue };
            let Ok(picture) = frames.picture(index) else { continue };
            let name =
                format!("swing-{}_{}_{}.jpg", swing.swing, clip.view.name(), event_key(event));
            let file = folder.join(&name);
            picture.save(&file).map_err(|error| RecordError::Io {
                file: file.display().to_string(),
                source: std::io::Error::other(error),
            })?;
            names.push(name);
        }
    }
    Ok(names)
}

fn listed(pupils: &[Pupil]) -> String {
    if pupils.is_empty() {
        return "No pupil is on record yet: `hubgauge pupil add NAME` adds one.\n".to_owned();
    }
    let mut out = String::new();
    for pupil in pupils {
        let height = pupil.stature_m.map(|m| format!(", {:.0} cm", 100.0 * m)).unwrap_or_default();
        let hand = if pupil.handed == Handed::Left { "left-handed" } else { "right-handed" };
        let minor = if pupil.minor { ", minor" } else { "" };
        let keep = if pupil.keep_pictures { "clips may be kept" } else { "clips are not kept" };
        let _ = writeln!(out, "{}: {hand}{height}{minor}, {keep}", pupil.name);
    }
    out
}
