//! The local page in a real browser: `tests/browser/run.mjs` drives it through whole ways, by the pointer, by keys alone and
//! as wide as a phone, and looks for faults of accessibility.
//!
//! Needs node, chromium and the packages of `tests/browser/package-lock.json`; without them the test says what is missing and
//! passes, but where LIGHTSIEVE_NEEDS_BROWSER is set, as `.ci/run` does.
#![cfg(feature = "web")]

use std::path::{Path, PathBuf};
use std::process::Command;

use lightsieve::render::{SceneSpec, render};

/// What is missing for the test.
fn missing(folder: &Path, chromium: &Path) -> Option<String> {
    let node = Command::new("node").arg("--version").output();
    if !node.is_ok_and(|o| o.status.success()) {
        return Some("node".to_owned());
    }
    if !chromium.is_file() {
        return Some(format!("{} (set LIGHTSIEVE_CHROMIUM to another place)", chromium.display()));
    }
    let packages = ["playwright-core", "axe-core"].map(|p| folder.join("node_modules").join(p));
    packages.iter().any(|p| !p.is_dir()).then(|| format!("npm ci in {}", folder.display()))
}

/// Three spreads of two grinds that differ plainly, and a file that is no photo.
fn photos(folder: &Path) {
    for (name, median_um, seeds) in [("new", 280.0, 1..4), ("worn", 400.0, 4..7)] {
        for seed in seeds {
            let mut scene =
                SceneSpec { width_px: 1400, height_px: 1050, um_per_px: 20.0, seed, ..SceneSpec::default() };
            scene.grind.coarse.median_um = median_um;
            std::fs::write(folder.join(format!("{name}-{seed}.jpg")), render(&scene).unwrap().jpeg()).unwrap();
        }
    }
    std::fs::write(folder.join("<b>note</b>.jpg"), "no photo").unwrap_or_else(|_| {
        // Some systems do not allow such names; the page is then given a plain one.
        std::fs::write(folder.join("note.jpg"), "no photo").unwrap();
    });
}

#[test]
fn whole_ways_through_the_page() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser");
    let chromium = PathBuf::from(std::env::var_os("LIGHTSIEVE_CHROMIUM").unwrap_or_else(|| "/usr/bin/chromium".into()));
    if let Some(what) = missing(&folder, &chromium) {
        let text = format!("the page is not tried in a browser: {what} is missing");
        assert!(std::env::var_os("LIGHTSIEVE_NEEDS_BROWSER").is_none(), "{text}");
        eprintln!("{text}");
        return;
    }
    let place = tempfile::tempdir().unwrap();
    photos(place.path());
    let pictures = std::env::var_os("LIGHTSIEVE_SCREENSHOTS").map_or_else(|| place.path().join("seen"), PathBuf::from);
    std::fs::create_dir_all(&pictures).unwrap();
    let run = Command::new("node")
        .arg(folder.join("run.mjs"))
        .env("LIGHTSIEVE", env!("CARGO_BIN_EXE_lightsieve"))
        .env("LIGHTSIEVE_CHROMIUM", chromium)
        .env("LIGHTSIEVE_PHOTOS", place.path())
        .env("LIGHTSIEVE_SCREENSHOTS", pictures)
        .output()
        .unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
    assert!(run.status.success(), "{said}");
    eprintln!("{said}");
}
