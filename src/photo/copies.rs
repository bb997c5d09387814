//! The same photo under another name.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};

/// The first of `others` that holds the same bytes as the file at `path`.
///
/// Only files of the same length are read. What cannot be read is no copy: reading it as a photo says why.
pub fn copy_among<'a>(path: &Path, others: &'a [PathBuf]) -> Option<&'a PathBuf> {
    let length = |p: &Path| std::fs::metadata(p).ok().filter(std::fs::Metadata::is_file).map(|m| m.len());
    let mine = length(path).filter(|&l| l > 0)?;
    others.iter().find(|other| length(other) == Some(mine) && is_same(path, other).unwrap_or(false))
}

fn is_same(a: &Path, b: &Path) -> std::io::Result<bool> {
    const BLOCK: usize = 1 << 16;
    let open = |p: &Path| Ok::<_, std::io::Error>(BufReader::with_capacity(BLOCK, File::open(p)?));
    let (mut a, mut b) = (open(a)?, open(b)?);
    let (mut x, mut y) = (Vec::with_capacity(BLOCK), Vec::with_capacity(BLOCK));
    loop {
        x.clear();
        y.clear();
        a.by_ref().take(BLOCK as u64).read_to_end(&mut x)?;
        b.by_ref().take(BLOCK as u64).read_to_end(&mut y)?;
        if x != y {
            return Ok(false);
        }
        if x.is_empty() {
            return Ok(true);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_copy_is_found_and_a_file_that_differs_in_its_last_byte_is_none() {
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str, last: u8| {
            let path = folder.path().join(name);
            let mut bytes = vec![7u8; 200_000];
            bytes[199_999] = last;
            std::fs::write(&path, bytes).unwrap();
            path
        };
        let others = [file("a", 1), file("b", 2)];
        assert_eq!(copy_among(&file("c", 2), &others), Some(&others[1]));
        assert_eq!(copy_among(&file("d", 3), &others), None);
        assert_eq!(copy_among(&folder.path().join("away"), &others), None);
    }
}
