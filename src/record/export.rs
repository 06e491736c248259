//! Everything about one pupil, for him to take. In: a name and a new folder. Out: `pupil.json`
//! (schema `hubgauge.pupil/1`), the clips that can be found and what pictures the caller makes of
//! them, complete or not at all.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::{Correction, Flight, Lesson, Library, Pupil, RecordError, Stored, clips};
use crate::results::SwingResult;

/// Name and version of the JSON's shape.
const SCHEMA: &str = "hubgauge.pupil/1";

#[derive(Serialize)]
struct Export {
    schema: &'static str,
    pupil: Pupil,
    targets: Vec<(String, f64)>,
    lessons: Vec<Lesson>,
    swings: Vec<ExportedSwing>,
}

#[derive(Serialize)]
struct ExportedSwing {
    id: i64,
    date: String,
    label: String,
    club: String,
    ball: String,
    setup: String,
    /// Every result kept, oldest first.
    results: Vec<(String, SwingResult)>,
    corrections: Vec<Correction>,
    ball_flight: Vec<Flight>,
    /// Names inside the export; or where a clip should lie and does not.
    clips: Vec<String>,
    /// Names inside the export.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pictures: Vec<String>,
}

/// A clip that was found: its checksum and where it lies.
pub type FoundClip = (String, PathBuf);

/// Writes pictures of a swing, whose clips by checksum were found, into a folder; their names.
pub type Illustrator<'a> =
    &'a dyn Fn(&Stored, &[FoundClip], &Path) -> Result<Vec<String>, RecordError>;

impl Library {
    /// Returns how many swings and clips were written.
    ///
    /// # Errors
    /// When the folder exists or cannot be written; nothing is left behind then.
    pub fn export(
        &self,
        pupil: &str,
        to: &Path,
        illustrator: Illustrator<'_>,
    ) -> Result<(usize, usize), RecordError> {
        if to.exists() {
            return Err(RecordError::Exists { file: to.display().to_string() });
        }
        let parent = match to.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        let folder = tempfile::tempdir_in(parent).map_err(RecordError::io(to))?;
        let mut copied = 0;
        let mut swings = Vec::new();
        for stored in self.swings(pupil, None, None)? {
            let (clips, found) = self.export_clips(stored.swing, folder.path(), &mut copied)?;
            let pictures = illustrator(&stored, &found, folder.path())?;
            swings.push(ExportedSwing {
                id: stored.swing,
                date: stored.date,
                label: stored.label,
                club: stored.club,
                ball: stored.ball,
                setup: stored.setup,
                results: self.results(stored.swing)?,
                corrections: self.corrections(stored.swing)?,
                ball_flight: self.flights(stored.swing)?,
                clips,
                pictures,
            });
        }
        let count = swings.len();
        let export = Export {
            schema: SCHEMA,
            pupil: self.pupil(pupil)?,
            targets: self.targets(pupil)?.iter().map(|t| (t.key.to_string(), t.value)).collect(),
            lessons: self.lessons(pupil)?,
            swings,
        };
        let text = serde_json::to_string_pretty(&export).map_err(RecordError::Json)?;
        let file = folder.path().join("pupil.json");
        std::fs::write(&file, text + "\n").map_err(RecordError::io(&file))?;
        std::fs::rename(folder.path(), to).map_err(RecordError::io(to))?;
        // It has another name now: there is nothing to remove.
        let _ = folder.keep();
        Ok((count, copied))
    }

    fn export_clips(
        &self,
        swing: i64,
        to: &Path,
        copied: &mut usize,
    ) -> Result<(Vec<String>, Vec<FoundClip>), RecordError> {
        let mut rows = self.connection.prepare_cached(
            "SELECT clip.sha256, file, copied FROM swing_clip JOIN clip USING (sha256) WHERE swing_id = ?1",
        )?;
        let found = rows
            .query_map([swing], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
            .collect::<Result<Vec<(String, String, bool)>, _>>()?;
        let (mut names, mut clips) = (Vec::new(), Vec::new());
        for (sha256, file, kept) in found {
            let Some(path) = clips::path(&self.folder, &file, kept) else { continue };
            if !path.is_file() {
                names.push(format!("{} (not found)", path.display()));
                continue;
            }
            let kind = path.extension().and_then(|e| e.to_str()).unwrap_or("clip");
            let name = format!("{sha256}.{kind}");
            if !to.join(&name).exists() {
                std::fs::copy(&path, to.join(&name)).map_err(RecordError::io(&path))?;
                *copied += 1;
            }
            names.push(name);
            clips.push((sha256, path));
        }
        Ok((names, clips))
    }
}
