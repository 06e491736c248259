//! Whole files or none. In: a path and bytes. Out: the file, or an error and no file.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::ResultError;

/// Writes to a temporary name in the same folder, then renames: a reader sees the old file or
/// the new one, never half of it.
///
/// # Errors
/// When the folder cannot be written; nothing is left behind then.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), ResultError> {
    let mut file = NewFile::create(path)?;
    file.written(|out| out.write_all(bytes))?;
    file.finish()
}

/// The same for a file that is written piece by piece; dropped unfinished, it leaves nothing.
#[derive(Debug)]
pub struct NewFile {
    file: NamedTempFile,
    path: PathBuf,
}

impl NewFile {
    /// # Errors
    /// When the folder cannot be written.
    pub fn create(path: &Path) -> Result<Self, ResultError> {
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let file = with_usual_permissions(&mut tempfile::Builder::new()).tempfile_in(folder);
        Ok(Self { file: file.map_err(refused(path))?, path: path.to_owned() })
    }

    /// # Errors
    /// What `write` says, with the file's name.
    pub fn written<T>(
        &mut self,
        write: impl FnOnce(&mut File) -> std::io::Result<T>,
    ) -> Result<T, ResultError> {
        write(self.file.as_file_mut()).map_err(refused(&self.path))
    }

    /// Gives the file its name.
    ///
    /// # Errors
    /// When it cannot be brought to disk.
    pub fn finish(self) -> Result<(), ResultError> {
        let Self { file, path } = self;
        file.as_file().sync_all().map_err(refused(&path))?;
        file.persist(&path).map(drop).map_err(|failed| refused(&path)(failed.error))
    }
}

fn refused(path: &Path) -> impl Fn(std::io::Error) -> ResultError {
    let path = path.display().to_string();
    move |source| ResultError::Write { path: path.clone(), source }
}

/// A temporary file is private by default; a result is an ordinary file, less the umask.
#[cfg(unix)]
fn with_usual_permissions<'a, 'b, 'c>(
    builder: &'c mut tempfile::Builder<'a, 'b>,
) -> &'c mut tempfile::Builder<'a, 'b> {
    use std::os::unix::fs::PermissionsExt as _;
    builder.permissions(std::fs::Permissions::from_mode(0o666))
}

#[cfg(not(unix))]
fn with_usual_permissions<'a, 'b, 'c>(
    builder: &'c mut tempfile::Builder<'a, 'b>,
) -> &'c mut tempfile::Builder<'a, 'b> {
    builder
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_written_file_replaces_the_old_one_and_leaves_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("swing.json");
        write_atomically(&path, b"old").unwrap();
        write_atomically(&path, b"new").unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"new");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_refused_write_leaves_nothing_and_says_where() {
        let folder = tempfile::tempdir().unwrap();
        let taken = folder.path().join("taken");
        std::fs::create_dir(&taken).unwrap();
        std::fs::write(taken.join("inside"), b"x").unwrap();
        let error = write_atomically(&taken, b"new").unwrap_err().to_string();
        assert!(error.contains("taken") && error.contains("--out"), "{error}");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
        assert!(write_atomically(&folder.path().join("absent/swing.json"), b"new").is_err());
    }
}
