//! Which stage may use which: the picture in DEVELOPERS.md, held to.

use std::fs;
use std::path::{Path, PathBuf};

/// Folder or file of `src/`, and what it may use.
const ALLOWED: [(&str, &[&str]); 16] = [
    ("numeric", &[]),
    ("photo", &["numeric"]),
    ("scale", &["photo", "numeric"]),
    ("backdrop", &["photo", "numeric"]),
    ("segment", &["backdrop", "photo", "numeric"]),
    ("particle", &["segment", "backdrop", "scale", "photo", "numeric"]),
    ("distribution", &["particle", "numeric"]),
    ("compare", &["distribution", "particle", "numeric"]),
    ("advice", &["particle", "backdrop", "photo", "numeric"]),
    ("pipeline", &["advice", "photo", "scale", "backdrop", "segment", "particle", "distribution", "numeric"]),
    ("study", &["compare", "distribution", "scale", "numeric"]),
    ("report", &["study", "advice", "compare", "pipeline", "distribution", "particle", "segment", "scale", "numeric"]),
    ("render", &[]),
    ("web", &["compare", "pipeline", "distribution", "report", "segment", "particle", "photo", "scale"]),
    ("cli", &["study", "compare", "pipeline", "distribution", "report", "render", "photo", "scale", "web"]),
    ("main", &["cli"]),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

#[test]
fn stages_use_only_what_they_may() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut edges = 0;
    for path in sources(&src) {
        let relative = path.strip_prefix(&src).unwrap();
        let stage = relative.components().next().unwrap().as_os_str().to_string_lossy().replace(".rs", "");
        if stage == "lib" {
            continue;
        }
        let allowed = ALLOWED
            .iter()
            .find(|(name, _)| *name == stage)
            .unwrap_or_else(|| {
                panic!("{} is in no stage: add it to the table here and in DEVELOPERS.md", relative.display())
            })
            .1;
        let text = fs::read_to_string(&path).unwrap();
        // Unit tests may make their own photos.
        let code = text.split("#[cfg(test)]\nmod tests").next().unwrap();
        for (number, line) in code.lines().enumerate() {
            let code = line.split("//").next().unwrap_or("");
            let uses = ["crate::", "lightsieve::"].into_iter().flat_map(|p| code.split(p).skip(1));
            for used in uses {
                let name: String = used.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                // Constants of the crate itself belong to no stage.
                if name != stage && !name.starts_with(|c: char| c.is_uppercase()) {
                    edges += 1;
                    assert!(
                        allowed.contains(&name.as_str()),
                        "src/{}:{} uses {name}; {stage} may use: {}",
                        relative.display(),
                        number + 1,
                        allowed.join(", ")
                    );
                }
            }
        }
    }
    assert!(edges > 20, "the test must see the edges it guards");
}

#[test]
fn stages_do_not_print_and_draw_no_random_numbers_without_a_seed() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for path in sources(&src) {
        let text = fs::read_to_string(&path).unwrap();
        for word in ["println!", "print!", "dbg!", "todo!", "unimplemented!", "thread_rng", "rand::rng()"] {
            assert!(!text.contains(word), "{} holds {word}", path.display());
        }
    }
}
