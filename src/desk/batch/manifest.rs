//! Which swings a batch measures. In: folders of clips, or a CSV manifest. Out: [`Job`]s in a
//! fixed order, each with a name that is the same on every machine and in every shard.
//!
//! Columns: `file` (relative to the manifest) is required; `pupil`, `swing`, `view` (face-on or
//! down-the-line), `stature` (with unit), `handed` (right or left), `capture_fps` and `lens` (a
//! calibration, relative to the manifest) may be there. Rows of one pupil and swing are the two views of that swing.

use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use crate::calibration::View;
use crate::cli::desk::BatchArgs;
use crate::error::Error;
use crate::frames::Handed;
use crate::options::{Clip, Options, OptionsError};
use crate::run::lens;

/// Clips are known by these endings in a folder.
const ENDINGS: [&str; 9] = ["mp4", "mov", "m4v", "mkv", "webm", "avi", "3gp", "mp4v", "3g2"];

/// One swing to measure.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    pub pupil: String,
    pub swing: String,
    pub rows: Vec<Row>,
}

/// One clip of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// As written in the manifest, or the file's name in its folder.
    pub file: String,
    pub path: PathBuf,
    pub view: String,
    pub stature: String,
    pub handed: String,
    pub capture_fps: String,
    pub lens: Option<PathBuf>,
}

/// What the command line says for every row that does not say it itself.
#[derive(Clone, Copy, Debug)]
pub struct ForAll<'a> {
    pub stature: Option<&'a str>,
    pub lens: &'a [String],
}

impl<'a> ForAll<'a> {
    /// # Errors
    /// When it makes no sense: better before the first clip than in every row.
    pub fn new(args: &'a BatchArgs) -> Result<Self, Error> {
        let all = Self { stature: args.stature.as_deref(), lens: &args.lens };
        let clip = |view| Clip::new(PathBuf::new(), Some(view));
        let mut any = Options::new(vec![clip(View::FaceOn), clip(View::DownTheLine)])?;
        all.stature.iter().try_for_each(|text| any.set_stature(text))?;
        all.lens.iter().try_for_each(|text| any.set_lens(text))?;
        for file in any.clips().iter().filter_map(|clip| clip.lens.as_ref()) {
            lens::check(file)?;
        }
        Ok(all)
    }
}

#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    #[error("{file} is no manifest that can be read: {why}")]
    Manifest { file: String, why: String },
    #[error("cannot make the Parquet table: {0}")]
    Parquet(String),
    #[error("cannot read or write {file}: {source}")]
    Io { file: String, source: std::io::Error },
    #[error("no clip was found: name a folder with clips, or a CSV manifest with a column file")]
    Nothing,
    #[error("--shard {0} is no share: write it as 1/4, 2/4, 3/4, 4/4")]
    Shard(String),
}

impl BatchError {
    pub fn io(file: &Path) -> impl FnOnce(std::io::Error) -> Self {
        let file = file.display().to_string();
        move |source| Self::Io { file, source }
    }
}

/// # Errors
/// When a folder or the manifest cannot be read.
pub fn jobs(inputs: &[PathBuf]) -> Result<Vec<Job>, BatchError> {
    let mut jobs = Vec::new();
    for input in inputs {
        if input.is_dir() {
            jobs.extend(in_folder(input)?);
        } else {
            jobs.extend(in_manifest(input)?);
        }
    }
    if jobs.is_empty() { Err(BatchError::Nothing) } else { Ok(jobs) }
}

/// Each clip of a folder (not of those within) is a swing; in order of names.
fn in_folder(folder: &Path) -> Result<Vec<Job>, BatchError> {
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(BatchError::io(folder))? {
        paths.push(entry.map_err(BatchError::io(folder))?.path());
    }
    paths.retain(|path| {
        let ending =
            path.extension().and_then(|e| e.to_str()).unwrap_or_default().to_ascii_lowercase();
        ENDINGS.contains(&ending.as_str()) && path.is_file()
    });
    paths.sort_unstable();
    let text =
        |name: Option<&std::ffi::OsStr>| name.unwrap_or_default().to_string_lossy().into_owned();
    let job = |path: PathBuf| Job {
        pupil: String::new(),
        swing: text(path.file_stem()),
        rows: vec![Row {
            file: text(path.file_name()),
            path,
            view: String::new(),
            stature: String::new(),
            handed: String::new(),
            capture_fps: String::new(),
            lens: None,
        }],
    };
    Ok(paths.into_iter().map(job).collect())
}

fn in_manifest(manifest: &Path) -> Result<Vec<Job>, BatchError> {
    let wrong = |why: String| BatchError::Manifest { file: manifest.display().to_string(), why };
    let mut reader = csv::Reader::from_path(manifest).map_err(|e| wrong(e.to_string()))?;
    let names = reader.headers().map_err(|e| wrong(e.to_string()))?.clone();
    let known = ["pupil", "swing", "view", "file", "stature", "handed", "capture_fps", "lens"];
    if let Some(other) = names.iter().find(|name| !known.contains(&name.trim())) {
        return Err(wrong(format!("column \"{other}\" is none of {}", known.join(", "))));
    }
    let column = |name: &str| names.iter().position(|n| n.trim() == name);
    column("file").ok_or_else(|| wrong("there is no column called file".to_owned()))?;
    let beside = manifest.parent().unwrap_or(Path::new(""));
    let mut jobs: Vec<Job> = Vec::new();
    for (line, record) in reader.records().enumerate() {
        let record = record.map_err(|e| wrong(e.to_string()))?;
        let cell =
            |name| column(name).and_then(|i| record.get(i)).unwrap_or_default().trim().to_owned();
        let file = cell("file");
        if file.is_empty() {
            return Err(wrong(format!("row {} names no file", line + 2)));
        }
        let path = beside.join(&file);
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let swing = Some(cell("swing")).filter(|s| !s.is_empty()).unwrap_or(stem);
        let (pupil, row) = (
            cell("pupil"),
            Row {
                file,
                path,
                view: cell("view"),
                stature: cell("stature"),
                handed: cell("handed"),
                capture_fps: cell("capture_fps"),
                lens: Some(cell("lens")).filter(|s| !s.is_empty()).map(|s| beside.join(s)),
            },
        );
        match jobs.iter_mut().find(|job| job.pupil == pupil && job.swing == swing) {
            Some(job) => job.rows.push(row),
            None => jobs.push(Job { pupil, swing, rows: vec![row] }),
        }
    }
    Ok(jobs)
}

impl Job {
    /// From what the manifest and the lens files say, not from where they lie: the same on every
    /// machine.
    #[must_use]
    pub fn name(&self, all: ForAll<'_>) -> String {
        let mut sum = Sha256::new();
        let mut add = |bytes: &[u8]| {
            sum.update(bytes);
            sum.update([0]);
        };
        [&self.pupil, &self.swing].into_iter().for_each(|text| add(text.as_bytes()));
        for row in &self.rows {
            let length = std::fs::metadata(&row.path).map(|m| m.len()).unwrap_or_default();
            [&row.file, &row.view, &row.stature, &row.handed, &row.capture_fps]
                .into_iter()
                .for_each(|text| add(text.as_bytes()));
            add(length.to_string().as_bytes());
        }
        add(all.stature.unwrap_or_default().as_bytes());
        add(env!("CARGO_PKG_VERSION").as_bytes());
        // Without a lens the names are those they always were.
        for (at, clip) in self.options(all).iter().flat_map(Options::clips).enumerate() {
            if let Some(file) = &clip.lens {
                add(at.to_string().as_bytes());
                add(&std::fs::read(file).unwrap_or_default());
            }
        }
        sum.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect()
    }

    /// # Errors
    /// When a cell makes no sense.
    pub fn options(&self, all: ForAll<'_>) -> Result<Options, String> {
        let mut clips = Vec::new();
        for row in &self.rows {
            let clip = Clip::new(row.path.clone(), view(&row.view)?);
            clips.push(Clip { lens: row.lens.clone(), ..clip });
        }
        let said = |error: OptionsError| error.to_string();
        let mut options = Options::new(clips).map_err(said)?;
        let given =
            |of: fn(&Row) -> &String| self.rows.iter().map(of).find(|text| !text.is_empty());
        if let Some(text) = given(|row| &row.stature).map(String::as_str).or(all.stature) {
            options.set_stature(text).map_err(said)?;
        }
        options.handed = handed(given(|row| &row.handed).map_or("", String::as_str))?;
        for row in self.rows.iter().filter(|row| !row.capture_fps.is_empty()) {
            let text = match row.view.as_str() {
                "" => row.capture_fps.clone(),
                view => format!("{view}:{}", row.capture_fps),
            };
            options.set_capture_fps(&text).map_err(said)?;
        }
        all.lens.iter().try_for_each(|text| options.lend_lens(text)).map_err(said)?;
        Ok(options)
    }
}

fn view(text: &str) -> Result<Option<View>, String> {
    match text {
        "" => Ok(None),
        "face-on" => Ok(Some(View::FaceOn)),
        "down-the-line" => Ok(Some(View::DownTheLine)),
        other => Err(format!("view \"{other}\" is neither face-on nor down-the-line")),
    }
}

fn handed(text: &str) -> Result<Handed, String> {
    match text {
        "" | "right" => Ok(Handed::Right),
        "left" => Ok(Handed::Left),
        other => Err(format!("handed \"{other}\" is neither right nor left")),
    }
}

/// `2/4`: whether the swing at this place is in the share.
///
/// # Errors
/// When it is no share.
pub fn share(text: Option<&str>) -> Result<(usize, usize), BatchError> {
    let Some(text) = text else { return Ok((1, 1)) };
    let parsed = text.split_once('/').and_then(|(i, n)| Some((i.parse().ok()?, n.parse().ok()?)));
    parsed
        .filter(|&(i, n): &(usize, usize)| i >= 1 && i <= n)
        .ok_or_else(|| BatchError::Shard(text.to_owned()))
}
