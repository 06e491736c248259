//! The files of a measurement. In: the measurement, the output folder. Out: `swing.json`,
//! `series.csv` and the folder `stills`, each made under a temporary name and then renamed.

use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::options::Options;
use crate::results::{self, write_atomically};

use super::{Look, Measurement, pictures, short_clip};

/// Folders that were made for a measurement; gone again when it comes to nothing.
pub struct Prepared {
    /// The deepest first.
    made: Vec<PathBuf>,
}

impl Prepared {
    /// Makes the folder and proves that it can be written to, before any work is done.
    ///
    /// # Errors
    /// When the folder cannot be made or written to.
    pub fn new(out: &Path) -> Result<Self, Error> {
        let missing = out.ancestors().take_while(|p| !p.as_os_str().is_empty() && !p.exists());
        let prepared = Self { made: missing.map(Path::to_owned).collect() };
        std::fs::create_dir_all(out).map_err(failed(out))?;
        tempfile::tempfile_in(out).map(drop).map_err(failed(out))?;
        Ok(prepared)
    }

    /// There is a result: the folders stay.
    pub fn keep(mut self) {
        self.made.clear();
    }
}

impl Drop for Prepared {
    fn drop(&mut self) {
        for folder in &self.made {
            // Refused where something is in it, which is right.
            let _ = std::fs::remove_dir(folder);
        }
    }
}

/// Writes everything; the result file last, so that it stands only beside complete company.
pub fn write(measured: &Measurement, options: &Options, out: &Path) -> Result<(), Error> {
    write_atomically(
        &out.join("series.csv"),
        &results::series_csv(&measured.evaluated.motion.frames)?,
    )?;
    let look = Look { blur_faces: options.blur_faces, skeleton: options.skeleton };
    write_stills(measured, look, out)?;
    if options.short_clip {
        write_short_clips(measured, look, out)?;
    }
    write_atomically(&out.join("swing.json"), measured.result.to_json()?.as_bytes())?;
    Ok(())
}

/// The whole folder is replaced, so that no still of an earlier run stays among the new ones.
fn write_stills(measured: &Measurement, look: Look, out: &Path) -> Result<(), Error> {
    let fresh = tempfile::Builder::new().prefix(".stills").tempdir_in(out).map_err(failed(out))?;
    pictures::write(measured, look, fresh.path())?;
    let folder = out.join("stills");
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(failed(out))?;
    }
    std::fs::rename(fresh.keep(), &folder).map_err(failed(out))
}

fn write_short_clips(measured: &Measurement, look: Look, out: &Path) -> Result<(), Error> {
    for viewed in &measured.evaluated.views {
        let view = viewed.calibration.view;
        if let Some(clip) = short_clip::short_clip(measured, view, look)? {
            let file = out.join(format!("{}.{}", short_clip::name(view), clip.ending));
            write_atomically(&file, &clip.bytes)?;
        }
    }
    Ok(())
}

fn failed(out: &Path) -> impl Fn(std::io::Error) -> Error {
    let folder = out.to_owned();
    move |source| Error::Out { folder: folder.clone(), source }
}
