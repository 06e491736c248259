//! Clips that come. In: a request's body, or a file of the watched folder. Out: the clip in the
//! workspace with a swing of its own, or nothing at all and a line why.
//!
//! A body is written to disk as it comes. The clip counts when all of it is on disk; whatever
//! ends an upload before that removes it. The file's name is a label only.

use std::path::Path;
use std::sync::Arc;

use axum::body::Body;
use axum::http::{HeaderMap, StatusCode, header};
use futures_util::StreamExt as _;
use sha2::{Digest as _, Sha256};
use tokio::io::{AsyncWriteExt as _, BufWriter};

use super::guard::random;
use super::kept::{self, KeptClip, KeptSwing};
use super::reply::{Refusal, Reply, aside};
use super::shown::ClipState;
use super::size::said;
use super::state::{Page, now_unix_ms};

const BLOCK: usize = 1 << 20;
/// Left free on the disk after an upload: what is observed, stills and the record need some.
const SPARE_BYTES: u64 = 200_000_000;
/// Letters of a clip's or swing's name: 64 bits do not meet by chance.
pub const NAME_BYTES: usize = 8;

/// A clip on its way in, removed again unless it is taken up.
struct Incoming {
    folder: tempfile::TempDir,
    name: String,
    file: String,
}

impl Incoming {
    fn new(page: &Page, name: &str) -> Reply<Self> {
        let parent = page.look(|w| w.incoming());
        let folder = tempfile::Builder::new().prefix("up-").tempdir_in(parent).map_err(disk)?;
        std::fs::create_dir(folder.path().join("film")).map_err(disk)?;
        Ok(Self { folder, name: label(name), file: kept::file_name(name) })
    }

    fn film(&self) -> std::path::PathBuf {
        self.folder.path().join("film").join(&self.file)
    }
}

/// What is shown of a name: one line, not endless.
fn label(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let shown: String = last.chars().filter(|c| !c.is_control()).take(120).collect();
    if shown.trim().is_empty() { "clip".to_owned() } else { shown.trim().to_owned() }
}

/// Writes a body to disk and takes it up.
///
/// # Errors
/// When it is too large, cut off, or the disk has no room; nothing is left behind then.
pub async fn receive(
    page: &Arc<Page>,
    name: &str,
    headers: &HeaderMap,
    body: Body,
) -> Reply<String> {
    let declared = declared(headers)?;
    let limit = page.options.max_upload_bytes;
    if declared.is_some_and(|size| size > limit) {
        return Err(too_large(declared.unwrap_or_default(), limit));
    }
    room(&page.options.library, declared.unwrap_or_default())?;
    let incoming = Incoming::new(page, name)?;
    let (size, sha256) = write(body, &incoming.film(), limit).await?;
    if size == 0 {
        return Err(Refusal::wrong(format!("{} is empty (0 bytes)", incoming.name)));
    }
    if declared.is_some_and(|declared| declared != size) {
        return Err(Refusal::wrong(format!("{} was cut off on its way", incoming.name)));
    }
    let page = Arc::clone(page);
    aside(move || take_up(&page, incoming, size, sha256)).await
}

fn declared(headers: &HeaderMap) -> Reply<Option<u64>> {
    let Some(value) = headers.get(header::CONTENT_LENGTH) else { return Ok(None) };
    let size = value.to_str().ok().and_then(|text| text.parse().ok());
    size.map(Some).ok_or_else(|| Refusal::wrong("the clip's length is no number"))
}

fn too_large(size: u64, limit: u64) -> Refusal {
    let message = format!(
        "the clip has {}, more than the {} that are taken: cut it to the swing, or start hubgauge with a larger --max-upload",
        said(size),
        said(limit)
    );
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, message)
}

async fn write(body: Body, film: &Path, limit: u64) -> Reply<(u64, String)> {
    let file = tokio::fs::File::create_new(film).await.map_err(disk)?;
    let mut file = BufWriter::with_capacity(BLOCK, file);
    let (mut size, mut sum) = (0_u64, Sha256::new());
    let mut blocks = body.into_data_stream();
    while let Some(block) = blocks.next().await {
        let block = block.map_err(|_| Refusal::wrong("the clip was cut off on its way"))?;
        size = size.saturating_add(u64::try_from(block.len()).unwrap_or(u64::MAX));
        if size > limit {
            return Err(too_large(size, limit));
        }
        sum.update(&block);
        file.write_all(&block).await.map_err(disk)?;
    }
    file.flush().await.map_err(disk)?;
    file.get_ref().sync_all().await.map_err(disk)?;
    Ok((size, hex(&sum.finalize())))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Copies a file of the watched folder and takes it up.
///
/// # Errors
/// As for an upload.
pub fn copy(page: &Arc<Page>, file: &Path) -> Reply<String> {
    let size = std::fs::metadata(file).map_err(disk)?.len();
    let limit = page.options.max_upload_bytes;
    if size > limit {
        return Err(too_large(size, limit));
    }
    room(&page.options.library, size)?;
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let incoming = Incoming::new(page, &name)?;
    let film = incoming.film();
    let size = std::fs::copy(file, &film).map_err(disk)?;
    let written = std::fs::File::options().write(true).open(&film).map_err(disk)?;
    written.sync_all().map_err(disk)?;
    let sha256 = crate::decode::sha256(&film).map_err(|e| Refusal::failed(e.to_string()))?;
    take_up(page, incoming, size, sha256)
}

/// A clip that is there already is not taken twice.
fn take_up(page: &Arc<Page>, incoming: Incoming, size: u64, sha256: String) -> Reply<String> {
    let known = |w: &super::workspace::Workspace| {
        w.clips.values().find(|c| c.sha256 == sha256).map(|c| c.id.clone())
    };
    let (id, swing) = (random(NAME_BYTES)?, random(NAME_BYTES)?);
    let taken = page.change(|w| {
        if let Some(known) = known(w) {
            return Ok::<_, Refusal>(known);
        }
        let last = w.clips.values().map(|c| c.arrived_unix_ms).max().unwrap_or(0);
        let clip = KeptClip {
            id: id.clone(),
            name: incoming.name.clone(),
            file: incoming.file.clone(),
            size_bytes: size,
            sha256: sha256.clone(),
            arrived_unix_ms: now_unix_ms().max(last.saturating_add(1)),
            created_unix_s: None,
            duration_s: None,
            state: ClipState::Waiting,
            message: None,
            view: None,
            handed: None,
            capture_fps: None,
            too_slow: None,
            notes: Vec::new(),
            apart: std::collections::BTreeSet::new(),
        };
        let own = KeptSwing::new(swing, &clip);
        w.take_up(incoming.folder.path(), clip)?;
        w.keep_swing(own)?;
        Ok(id.clone())
    })?;
    page.tell_bench();
    Ok(taken)
}

/// Whether the disk has room for so many bytes more.
fn room(folder: &Path, bytes: u64) -> Reply<()> {
    #[cfg(unix)]
    {
        let Ok(disk) = rustix::fs::statvfs(folder) else { return Ok(()) };
        let free = disk.f_bavail.saturating_mul(disk.f_frsize);
        if free < bytes.saturating_add(SPARE_BYTES) {
            let message = format!(
                "the disk has {} left, too little for this clip: make room and drop it again",
                said(free)
            );
            return Err(Refusal::new(StatusCode::INSUFFICIENT_STORAGE, message));
        }
    }
    Ok(())
}

fn disk(error: std::io::Error) -> Refusal {
    let message = match error.kind() {
        std::io::ErrorKind::StorageFull => {
            "the disk is full: make room and drop the clip again".to_owned()
        }
        _ => format!("the clip could not be written to disk: {error}"),
    };
    Refusal::new(StatusCode::INSUFFICIENT_STORAGE, message)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_one_line_and_no_path() {
        assert_eq!(label("../../x\ny.mp4"), "xy.mp4");
        assert_eq!(label(" "), "clip");
        assert_eq!(label(&"a".repeat(500)).len(), 120);
    }
}
