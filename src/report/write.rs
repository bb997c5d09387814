//! Files appear whole or not at all.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::ReportError;

/// A file to come: its folder is known to be writable, and its place is left as it was until [`Target::finish`].
pub struct Target {
    path: PathBuf,
    /// False for what cannot be replaced by renaming: a device, a pipe.
    replaced: bool,
}

impl Target {
    /// Prepares to write `path`, so that a bad place is known before any work is done.
    ///
    /// # Errors
    /// A folder, or a place where no file can be made.
    pub fn create(path: &Path) -> Result<Self, ReportError> {
        match fs::metadata(path) {
            Ok(meta) if meta.is_dir() => return Err(ReportError::Folder(path.display().to_string())),
            Ok(meta) if !meta.is_file() => return Ok(Target { path: path.to_owned(), replaced: false }),
            _ => {}
        }
        // A symbolic link stays a link: what it leads to is replaced.
        let target = Target { path: path.canonicalize().unwrap_or_else(|_| path.to_owned()), replaced: true };
        // Taken away again at once, so that work broken off leaves nothing behind.
        target.temporary().map_err(|e| target.failed(&e))?;
        Ok(target)
    }

    /// Writes the whole content and puts the file in its place.
    ///
    /// # Errors
    /// A full disk, or a place that is no longer writable; the old file is then still there.
    pub fn finish(self, content: &[u8]) -> Result<(), ReportError> {
        let write = || {
            if !self.replaced {
                return fs::write(&self.path, content);
            }
            let mut file = self.temporary()?;
            file.write_all(content)?;
            file.persist(&self.path).map_err(|e| e.error)?;
            Ok(())
        };
        write().map_err(|e| self.failed(&e))
    }

    /// A new file beside the place.
    fn temporary(&self) -> std::io::Result<NamedTempFile> {
        let folder = self.path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        builder.prefix(".lightsieve-");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // The user's umask applies, as for any other file.
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        builder.tempfile_in(folder)
    }

    fn failed(&self, error: &std::io::Error) -> ReportError {
        ReportError::Write { path: self.path.display().to_string(), why: reason(error, NO_FOLDER) }
    }
}

const NO_FOLDER: &str = "its folder does not exist";

/// The cause in words, without numbers of the system and the name of the temporary file; `missing` says what a thing not
/// found means here.
pub fn reason(error: &std::io::Error, missing: &str) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => missing.into(),
        std::io::ErrorKind::PermissionDenied => "no permission".into(),
        std::io::ErrorKind::StorageFull => "the disk is full".into(),
        kind => kind.to_string(),
    }
}

/// True when two paths lead to the same file, also where it does not exist yet.
pub fn same_place(a: &Path, b: &Path) -> bool {
    let whole = |path: &Path| {
        path.canonicalize().ok().or_else(|| {
            let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
            Some(folder.canonicalize().ok()?.join(path.file_name()?))
        })
    };
    a == b || whole(a).is_some_and(|x| whole(b) == Some(x))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shorter_second_run_leaves_no_old_bytes_and_an_unfinished_one_changes_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a b µ.txt");
        Target::create(&path).unwrap().finish(b"a longer text").unwrap();
        Target::create(&path).unwrap().finish(b"short").unwrap();
        let unfinished = Target::create(&path).unwrap();
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing lies beside it while work goes on");
        drop(unfinished);
        assert_eq!(fs::read(&path).unwrap(), b"short");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn two_ways_to_one_place_are_the_same_place() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("x");
        assert!(same_place(&file, &folder.path().join("./x")));
        assert!(!same_place(&file, &folder.path().join("y")));
    }

    #[test]
    fn folders_and_absent_places_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(Target::create(folder.path()), Err(ReportError::Folder(_))));
        assert!(matches!(Target::create(&folder.path().join("no/such/x")), Err(ReportError::Write { .. })));
    }
}
