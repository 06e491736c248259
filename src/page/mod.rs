//! The coach's page: a server on this machine alone, used with a browser. In: clips that are
//! dropped, what the coach types and corrects. Out: HTML, JSON, pictures; everything kept in the
//! folder `page/` of the library.
//!
//! Every number comes from the functions that the command line uses. Listens on 127.0.0.1 only;
//! an address is good only with the random token in it ([`guard`]).
//!
//! What it does not do: it never calls out, and serves nobody but this machine.

mod api;
mod bench;
mod cache;
mod drawn;
mod frames;
mod glance;
mod guard;
mod kept;
mod measured;
mod media;
mod pages;
mod pairing;
mod picture;
mod queue;
mod recording;
mod reply;
mod server;
mod sheet;
mod showing;
pub mod shown;
mod size;
mod state;
mod tasks;
mod upload;
pub mod view;
mod watch;
mod workspace;

use std::path::PathBuf;

pub use server::open;
pub use size::parse_size;

/// How the page is started.
#[derive(Clone, Debug)]
pub struct OpenOptions {
    /// Folder of the library.
    pub library: PathBuf,
    /// 0: any free one.
    pub port: u16,
    pub browser: bool,
    /// Folder watched for new clips, beside the one of the settings.
    pub watch: Option<PathBuf>,
    pub max_upload_bytes: u64,
}

/// Why the page cannot be shown.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    #[error(
        "cannot listen on 127.0.0.1 port {port}: {source}; choose another with --port, or leave it out"
    )]
    Listen { port: u16, source: std::io::Error },
    #[error("the page stopped: {0}")]
    Stopped(#[source] std::io::Error),
    #[error("this system gives no random numbers ({0}): the page would not be safe without")]
    NoRandom(getrandom::Error),
    #[error("cannot write into {}: {source}; choose another folder with --library", folder.display())]
    Folder { folder: PathBuf, source: std::io::Error },
    #[error("the page is open already on {}: use its window, or stop it with Ctrl-C first", .0.display())]
    Taken(PathBuf),
    #[error(transparent)]
    Record(#[from] crate::record::RecordError),
    #[error("--max-upload \"{0}\" is no size: write it like 500MB or 4GB")]
    Size(String),
    #[error("--watch {}: there is no such folder", .0.display())]
    NoWatch(PathBuf),
}
