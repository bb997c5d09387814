//! A fresh folder to run the program in, and what came of a run.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use crate::pictures::grounds_jpeg;

/// A fresh folder; the program runs inside it, so that bare names are files of the folder.
pub struct Desk(TempDir);

/// What came of a run.
pub struct Outcome {
    pub status: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

impl Desk {
    pub fn empty() -> Self {
        Desk(tempfile::tempdir().unwrap())
    }

    /// A folder with one file.
    pub fn with(name: &str, bytes: &[u8]) -> Self {
        Desk::empty().and(name, bytes)
    }

    /// A folder with one good photo of grounds.
    pub fn with_grounds(name: &str) -> Self {
        Desk::with(name, grounds_jpeg())
    }

    /// One more file; folders in its name are made.
    pub fn and(self, name: &str, bytes: &[u8]) -> Self {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
        self
    }

    pub fn and_folder(self, name: &str) -> Self {
        fs::create_dir_all(self.path(name)).unwrap();
        self
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn bytes(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    pub fn text(&self, name: &str) -> String {
        String::from_utf8(self.bytes(name)).unwrap()
    }

    pub fn json(&self, name: &str) -> Value {
        serde_json::from_slice(&self.bytes(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    /// Rows of a CSV file, each by column name.
    pub fn csv(&self, name: &str) -> Vec<BTreeMap<String, String>> {
        csv::Reader::from_reader(&self.bytes(name)[..]).deserialize().map(|row| row.unwrap()).collect()
    }

    /// The program with the words of `line` as arguments.
    pub fn run(&self, line: &str) -> Outcome {
        self.run_words(&line.split_whitespace().collect::<Vec<_>>())
    }

    /// The program with `words` as arguments, which may hold spaces.
    pub fn run_words(&self, words: &[&str]) -> Outcome {
        Outcome::of(self.command(words))
    }

    /// The program on a number of threads.
    pub fn run_on_threads(&self, threads: &str, line: &str) -> Outcome {
        let mut command = self.command(&line.split_whitespace().collect::<Vec<_>>());
        command.env("RAYON_NUM_THREADS", threads);
        Outcome::of(command)
    }

    /// The program with standard output going into a pipe that nobody reads.
    pub fn run_into_closed_pipe(&self, line: &str) -> Option<i32> {
        let mut command = self.command(&line.split_whitespace().collect::<Vec<_>>());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        drop(child.stdout.take());
        child.wait().unwrap().code()
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lightsieve"));
        command.args(words).current_dir(self.0.path()).stdin(Stdio::null());
        command
    }

    /// Runs `line` and asserts that it is refused with `status`, that the message holds all `words`, and that the
    /// folder is as before.
    #[track_caller]
    pub fn refuses(&self, line: &str, status: i32, words: &[&str]) {
        let before = self.contents();
        self.run(line).is_refused(status, words);
        self.is_as(&before);
    }

    /// Asserts that `measure`, asked for every output, refuses `photo` with a message that names it and holds `words`.
    #[track_caller]
    pub fn refuses_photo(&self, photo: &str, words: &[&str]) {
        let line =
            format!("measure {photo} --scale 20 --json out.json --particles out.csv --plot out.svg --overlay out.png");
        self.refuses(&line, 1, &[&[photo], words].concat());
    }

    /// Every file and folder, with the bytes of the files.
    pub fn contents(&self) -> BTreeMap<String, Option<Vec<u8>>> {
        let mut all = BTreeMap::new();
        list(self.0.path(), self.0.path(), &mut all);
        all
    }

    #[track_caller]
    pub fn is_as(&self, before: &BTreeMap<String, Option<Vec<u8>>>) {
        let after = self.contents();
        assert_eq!(before.keys().collect::<Vec<_>>(), after.keys().collect::<Vec<_>>(), "names in the folder");
        for (name, bytes) in before {
            assert!(after[name] == *bytes, "{name} was changed");
        }
    }
}

fn list(root: &Path, folder: &Path, all: &mut BTreeMap<String, Option<Vec<u8>>>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.strip_prefix(root).unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            all.insert(name, None);
            list(root, &path, all);
        } else {
            all.insert(name, Some(fs::read(&path).unwrap()));
        }
    }
}

impl Outcome {
    fn of(mut command: Command) -> Self {
        let output = command.output().unwrap();
        let text = |bytes| String::from_utf8(bytes).expect("messages are UTF-8");
        let outcome =
            Outcome { status: output.status.code(), stdout: text(output.stdout), stderr: text(output.stderr) };
        assert!(!outcome.stderr.contains("panicked"), "panic:\n{}", outcome.stderr);
        outcome
    }

    /// Asserts success with nothing on standard error.
    #[track_caller]
    pub fn is_done(&self) {
        assert_eq!(self.status, Some(0), "exit status; the message was:\n{}", self.stderr);
        assert_eq!(self.stderr, "", "standard error of a success");
    }

    /// Asserts a refusal with all `words` on standard error and nothing on standard output.
    #[track_caller]
    pub fn is_refused(&self, status: i32, words: &[&str]) {
        assert_eq!(self.status, Some(status), "exit status; the message was:\n{}", self.stderr);
        assert_eq!(self.stdout, "", "standard output of a refusal");
        for word in words {
            assert!(self.stderr.contains(word), "{word:?} is missing in:\n{}", self.stderr);
        }
    }
}

/// The figures that have an interval.
pub const FIGURES: [&str; 7] = ["d10_um", "d50_um", "d90_um", "span", "fines_pct", "d32_um", "d43_um"];

/// A figure of a measurement.
#[track_caller]
pub fn figure(measurement: &Value, name: &str) -> f64 {
    number(&measurement["distribution"][name])
}

#[track_caller]
pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Asserts that `a` and `b` differ by at most `share` of `b`.
#[track_caller]
pub fn near(a: f64, b: f64, share: f64, what: &str) {
    assert!((a - b).abs() <= share * b.abs(), "{what}: {a} is not within {} % of {b}", 100.0 * share);
}

/// True when a `null` is anywhere inside: JSON has no other way to hold a number that is not finite.
pub fn has_null(value: &Value) -> bool {
    match value {
        Value::Null => true,
        Value::Array(items) => items.iter().any(has_null),
        Value::Object(fields) => fields.values().any(has_null),
        _ => false,
    }
}
