//! In: a file. Out: its SHA-256 (FIPS 180-4) in hexadecimal, read in pieces.

use std::fmt::Write;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::error::DecodeError;

const PIECE: usize = 1 << 16;

/// # Errors
/// Where the file cannot be read to its end.
pub fn sha256(path: &Path) -> Result<String, DecodeError> {
    let unreadable = |error: std::io::Error| DecodeError::Unreadable {
        file: path.into(),
        cause: error.to_string(),
    };
    let mut file = File::open(path).map_err(unreadable)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; PIECE];
    loop {
        match file.read(&mut piece).map_err(unreadable)? {
            0 => break,
            length => hash.update(&piece[..length]),
        }
    }
    Ok(hash.finalize().iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    }))
}

#[cfg(test)]
mod tests {
    /// The one-block example of FIPS 180-4 (NIST's SHA-256 example values): "abc".
    #[test]
    fn sha256_of_abc() {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), "abc").unwrap();
        assert_eq!(
            super::sha256(file.path()).unwrap(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
