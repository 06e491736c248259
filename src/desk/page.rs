//! `hubgauge open`. In: the command. Out: the page, until it is stopped.

use crate::cli::OpenArgs;
use crate::error::Error;
use crate::page::{self, OpenOptions, parse_size};

/// A lesson's clip is some hundred megabytes at most; a whole session filmed in one go still fits.
const MAX_UPLOAD_BYTES: u64 = 4_000_000_000;

/// # Errors
/// When the page cannot be shown.
pub fn open_page(args: &OpenArgs) -> Result<(), Error> {
    let max_upload = args.max_upload.as_deref().map(parse_size).transpose()?;
    let options = OpenOptions {
        library: super::folder(&args.at)?,
        port: args.port,
        browser: !args.no_browser,
        watch: args.watch.clone(),
        max_upload_bytes: max_upload.unwrap_or(MAX_UPLOAD_BYTES),
    };
    Ok(page::open(&options)?)
}
