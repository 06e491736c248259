//! `hubgauge pupil`. In: the command. Out: what was done, in words.

use std::fmt::Write as _;

use crate::cli::desk::{PupilArgs, PupilCommand};
use crate::error::Error;
use crate::frames::Handed;
use crate::options::parse_stature;
use crate::record::Pupil;

/// # Errors
/// When the library refuses.
pub fn pupil(args: PupilArgs) -> Result<String, Error> {
    let at = args.at;
    match args.command {
        PupilCommand::Add { name, stature, handed, minor, keep_pictures, notes } => {
            let stature_m = stature.map(|text| parse_stature(&text)).transpose()?.map(|m| m.0);
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
            let (swings, clips) = super::open(&at)?.export(&name, &out)?;
            Ok(format!("Wrote {swings} swings and {clips} clips of {name} to {}.\n", out.display()))
        }
        PupilCommand::Erase { name, yes: _ } => {
            let erased = super::open(&at)?.erase(&name)?;
            let mut out = format!(
                "{name} is erased: swings: {}, copied clips: {}, all gone from the library's files.\nBackups and exports made earlier still hold them.\n",
                erased.swings, erased.clips
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
