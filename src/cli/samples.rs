//! Samples as the commands that compare take them: photos, folders of photos, or particles measured earlier.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};

use super::batch::{entries, is_photo};
use super::measure::measure_all;
use super::{Failure, readable, say};
use crate::compare::Grounds;
use crate::distribution::{PhotoParticles, Sample};
use crate::photo;
use crate::pipeline::{MeasuredPhoto, Settings, particles_of, scale_uncertainty};
use crate::report::{measured, words};

/// Files of one sample, and its name.
pub(super) struct Named {
    pub name: String,
    files: Vec<PathBuf>,
}

impl Named {
    /// From `[NAME=]WHAT`: a photo, a folder, a table of particles, a pattern with `*` in the file's name, or several of
    /// them joined by commas.
    pub fn parse(text: &str) -> Result<Self, Failure> {
        let whole = Path::new(text).exists();
        let (name, what) = match text.split_once('=') {
            Some((name, what)) if !whole && !name.is_empty() && !name.contains(['/', '\\', '*']) => (Some(name), what),
            _ => (None, text),
        };
        let parts: Vec<&str> = if Path::new(what).exists() { vec![what] } else { what.split(',').collect() };
        let mut files = Vec::new();
        for part in parts.iter().map(|p| p.trim()).filter(|p| !p.is_empty()) {
            files.extend(files_of(Path::new(part))?);
        }
        if files.is_empty() {
            return Err(Failure::Usage(anyhow!("`{text}` names no file")));
        }
        let own = || {
            let stem = |p: &Path| p.file_stem().unwrap_or(p.as_os_str()).to_string_lossy().into_owned();
            match (parts.as_slice(), files.as_slice()) {
                ([one], _) if !one.contains(['*', '?']) => stem(Path::new(one)),
                _ => stem(&files[0]),
            }
        };
        Ok(Named { name: name.map_or_else(own, str::to_owned), files })
    }

    /// The same files under another name.
    pub fn with_name(self, name: String) -> Self {
        Named { name, ..self }
    }

    /// Its name, with how many more files it has where it is called by the first of them.
    pub fn title(&self) -> String {
        let of_first = self.files[0].file_stem().is_some_and(|s| s.to_string_lossy() == self.name.as_str());
        match self.files.len() {
            n if n > 1 && of_first => format!("{} and {} more", self.name, n - 1),
            _ => self.name.clone(),
        }
    }

    /// The files.
    pub fn files(&self) -> &[PathBuf] {
        &self.files
    }

    /// Measures the photos and reads the tables.
    ///
    /// What could be better about the photos is told at once, and added to `advice`: it is no part of any result.
    pub fn grounds(&self, settings: &Settings, advice: &mut Vec<String>) -> Result<Grounds, Failure> {
        let (grounds, photos) = self.measured(settings)?;
        let of_photos = words::advice(&photos);
        say(&of_photos.iter().map(|advice| format!("  ! {advice}\n")).collect::<String>())?;
        advice.extend(of_photos);
        Ok(grounds)
    }

    /// The same, with what was seen of the photos among the files.
    pub fn measured(&self, settings: &Settings) -> Result<(Grounds, Vec<MeasuredPhoto>), Failure> {
        let (tables, pictures): (Vec<PathBuf>, Vec<PathBuf>) = self.files.iter().cloned().partition(|f| is_table(f));
        let mut photos = Vec::new();
        for table in &tables {
            let text = readable(table, fs::read(table))?;
            photos.extend(measured::photos(&text).map_err(|e| anyhow!("{}: {e}", table.display()))?);
        }
        if !settings.takes_chaff() {
            // A table holds pale particles, with their flag.
            photos.iter_mut().for_each(PhotoParticles::leave_out_pale);
        }
        let measured: Vec<MeasuredPhoto> = measure_all(&pictures, settings)?;
        photos.extend(particles_of(&measured)?);
        let sample = Sample::new(photos).map_err(|e| anyhow!("{}: {e}", self.name))?;
        let grounds = Grounds { name: self.name.clone(), sample, scale_uncertainty: scale_uncertainty(&measured) };
        Ok((grounds, measured))
    }
}

pub(super) fn is_table(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"))
}

pub(super) fn files_of(what: &Path) -> Result<Vec<PathBuf>, Failure> {
    if what.is_dir() {
        let files: Vec<PathBuf> = entries(what)?.into_iter().filter(|p| p.is_file() && is_photo(p)).collect();
        if files.is_empty() {
            return Err(anyhow!("{}: no photo in this folder (JPEG, PNG, TIFF, WebP, HEIC)", what.display()).into());
        }
        return Ok(files);
    }
    let name = what.file_name().unwrap_or_default().to_string_lossy().into_owned();
    if !what.exists() && name.contains(['*', '?']) {
        let folder = what.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let fits = |p: &PathBuf| p.file_name().is_some_and(|n| fits(&name, &n.to_string_lossy()));
        let mut files: Vec<PathBuf> =
            entries(folder)?.into_iter().filter(|p| p.is_file() && (is_photo(p) || is_table(p)) && fits(p)).collect();
        if folder == Path::new(".") && !what.starts_with(".") {
            files = files.iter().map(|p| p.strip_prefix(".").unwrap_or(p).to_owned()).collect();
        }
        if files.is_empty() {
            return Err(anyhow!("{}: no photo or table of particles has such a name", what.display()).into());
        }
        return Ok(files);
    }
    if is_table(what) {
        if !what.is_file() {
            return Err(anyhow!("{}: there is no such file. Check the name", what.display()).into());
        }
    } else {
        photo::check(what).with_context(|| what.display().to_string())?;
    }
    Ok(vec![what.to_owned()])
}

/// `*` stands for any characters, `?` for one.
fn fits(pattern: &str, name: &str) -> bool {
    let (pattern, name): (Vec<char>, Vec<char>) = (pattern.chars().collect(), name.chars().collect());
    let mut fits = vec![false; name.len() + 1];
    fits[0] = true;
    for p in pattern {
        let mut next = vec![false; name.len() + 1];
        for i in 0..=name.len() {
            next[i] = match p {
                '*' => fits[i] || i > 0 && next[i - 1],
                _ => i > 0 && fits[i - 1] && (p == '?' || p == name[i - 1]),
            };
        }
        fits = next;
    }
    fits[name.len()]
}

#[cfg(test)]
mod tests {
    use super::fits;

    #[test]
    fn patterns_fit_whole_names() {
        assert!(fits("worn-*.jpg", "worn-12.jpg") && fits("*", "a") && fits("a?c*", "abc"));
        assert!(!fits("worn-*.jpg", "worn-12.jpeg") && !fits("a?c", "ac") && !fits("", "a"));
    }
}
