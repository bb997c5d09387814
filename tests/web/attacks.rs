//! What strangers, foreign pages and broken files try. Nothing leaks, nothing stops, memory stays bounded.

use std::io::Write;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::server::{Server, answer, call, coded, demo, folder, head, open, png, small_png};

#[test]
fn a_foreign_page_changes_nothing_and_reads_nothing() {
    let place = folder();
    let server = Server::start(place.path());
    let at = server.address.as_str();
    let json_type = ("content-type", "application/json");
    for origin in [
        "http://evil.example",
        "null",
        "",
        "http://127.0.0.1",
        &format!("https://{at}"),
        &format!("http://{at}.evil.example"),
    ] {
        let refused = call(at, "POST", "/api/trays", &[("origin", origin), json_type], b"{}");
        assert_eq!(refused.status, 403, "origin {origin:?}");
    }
    for host in ["evil.example", "127.0.0.1", &format!("evil.example:{}", at.split(':').nth(1).unwrap()), ""] {
        let refused = call(at, "GET", "/api/state", &[("host", host)], b"");
        assert!(matches!(refused.status, 400 | 421), "host {host:?}: {}", refused.status);
        assert!(!refused.text().contains("trays"));
    }
    for site in ["cross-site", "same-site"] {
        assert_eq!(call(at, "GET", "/api/state", &[("sec-fetch-site", site)], b"").status, 403);
    }
    // A form of a foreign page can send this type without asking first.
    let form = call(at, "POST", "/api/trays", &[("content-type", "text/plain")], b"{}");
    assert_eq!(form.status, 415);
    assert_eq!(server.state()["trays"], json!([]));
    let page = server.get("/");
    let policy = page.header("content-security-policy").unwrap();
    assert!(
        policy.starts_with("default-src 'none'")
            && !policy.contains("unsafe")
            && policy.contains("frame-ancestors 'none'")
    );
    assert_eq!(page.header("x-content-type-options"), Some("nosniff"));
    assert!(!page.text().contains("style=") && !page.text().contains("<style") && !page.text().contains(" onclick"));
    assert!(!page.text().contains("https://"), "the page asks nobody else for anything");
}

#[test]
fn no_path_of_a_request_leads_to_a_file() {
    let outside = folder();
    let work = outside.path().join("work");
    let server = Server::start(&work);
    std::fs::write(outside.path().join("secret.txt"), "the secret").unwrap();
    for path in [
        "/../secret.txt",
        "/asset/../../secret.txt",
        "/asset/..%2F..%2Fsecret.txt",
        "/asset/%2e%2e/secret.txt",
        "/api/photos/..%2F..%2Fsecret.txt/picture",
        "/api/photos/1%2F..%2F..%2Fsecret.txt/picture",
        "/api/trays/..%2F..%2F/measurement.json",
        "/state.json",
        "/photos/000001.jpg",
    ] {
        let answer = server.get(path);
        assert!((400..500).contains(&answer.status), "{path}: {}", answer.status);
        assert!(!answer.text().contains("the secret"));
    }
    let tray = server.tray();
    for (i, name) in
        ["../../evil.png", "..\\..\\evil.png", "/etc/evil.png", "evil.png\0.jpg", &"x".repeat(4000)].iter().enumerate()
    {
        assert_eq!(server.upload(tray, name, &small_png(i as u32)).status, 201, "{name:?}");
    }
    let mut files: Vec<String> = walk(outside.path());
    files.retain(|f| !matches!(f.as_str(), "secret.txt" | "state.json" | ".in-use"));
    assert!(files.iter().all(|f| f.len() == 10 && f.ends_with(".png")), "{files:?}");
    assert_eq!(files.len(), 5);
}

fn walk(folder: &std::path::Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            found.extend(walk(&entry.path()));
        } else {
            found.push(entry.file_name().into_string().unwrap());
        }
    }
    found
}

#[test]
fn bad_files_are_refused_with_a_sentence_and_leave_nothing_behind() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    let good = demo("finer-grind.jpg");
    let mut flipped = good.clone();
    let claimed = png(20_000, 9, png::ColorType::Grayscale, png::BitDepth::Eight, &|_| 0);
    // The header claims 20000 rows more than there are.
    let mut many = claimed.clone();
    many[20..24].copy_from_slice(&29_999u32.to_be_bytes());
    flipped[2..600].fill(0x55);
    for (what, bytes) in [
        ("nothing", &b""[..]),
        ("a text", b"not a picture at all"),
        ("a page", b"<!doctype html><script>alert(1)</script>"),
        ("half a photo", &good[..good.len() / 2]),
        ("a photo with a broken head", &flipped),
        ("a false claim", &many),
        ("an SVG", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
    ] {
        let refused = server.upload(tray, "bad.jpg", bytes);
        assert_eq!(refused.status, 422, "{what}: {}", refused.text());
        assert!(refused.json()["error"].as_str().unwrap().len() > 20, "{what}");
    }
    assert_eq!(server.upload(999, "x.png", &small_png(1)).status, 404);
    assert_eq!(server.state()["trays"][0]["photos"], json!([]));
    assert_eq!(std::fs::read_dir(place.path().join("photos")).unwrap().count(), 0);
}

#[test]
fn a_picture_that_unpacks_to_gigabytes_is_refused_unopened() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    // 1.2 GB of nothing in little more than a megabyte.
    let bomb = png(12_000, 12_500, png::ColorType::Rgba, png::BitDepth::Sixteen, &|_| 0);
    assert!(bomb.len() < 3 << 20, "{}", bomb.len());
    let refused = server.upload(tray, "bomb.png", &bomb);
    assert!(refused.status == 422 && refused.text().contains("12000 × 12500"), "{}", refused.text());
    if let Some(peak) = server.peak_mib() {
        assert!(peak < 200, "{peak} MiB");
    }
}

#[test]
fn oversize_files_are_refused_by_their_claim_and_by_what_comes() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    let path = format!("/api/trays/{tray}/photos?name=x.jpg");
    let mut claims = open(&server.address);
    claims.write_all(head(&server.address, "POST", &path, &[], Some(90 << 20)).as_bytes()).unwrap();
    assert_eq!(answer(&mut claims).status, 413);
    let mut sends = open(&server.address);
    sends
        .write_all(head(&server.address, "POST", &path, &[("transfer-encoding", "chunked")], None).as_bytes())
        .unwrap();
    let chunk = vec![b'x'; 1 << 20];
    for _ in 0..90 {
        let sent = sends
            .write_all(b"100000\r\n")
            .and_then(|()| sends.write_all(&chunk))
            .and_then(|()| sends.write_all(b"\r\n"));
        if sent.is_err() {
            break;
        }
    }
    let status = answer(&mut sends).status;
    // The connection may be cut before the answer is read.
    assert!(matches!(status, 413 | 0), "{status}");
    assert_eq!(std::fs::read_dir(place.path().join("photos")).unwrap().count(), 0);
    let large = json!({ "name": "x".repeat(300 << 10) });
    assert_eq!(server.post("/api/trays", &large).status, 413);
    assert_eq!(server.state()["trays"].as_array().unwrap().len(), 1);
}

#[test]
fn slow_uploads_are_cut_off_and_hold_nobody_up() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    let path = format!("/api/trays/{tray}/photos?name=slow.jpg");
    let began = Instant::now();
    // As many as are taken at once, each with a byte and then nothing.
    let mut slow: Vec<_> = (0..4)
        .map(|_| {
            let mut stream = open(&server.address);
            stream.write_all(head(&server.address, "POST", &path, &[], Some(1000)).as_bytes()).unwrap();
            stream.write_all(b"x").unwrap();
            stream
        })
        .collect();
    // Half a head, and then nothing.
    let mut half = open(&server.address);
    half.write_all(b"GET / HTTP/1.1\r\nho").unwrap();
    // A change that never comes.
    let mut change = open(&server.address);
    let json_type = [("content-type", "application/json")];
    change.write_all(head(&server.address, "POST", "/api/trays", &json_type, Some(100)).as_bytes()).unwrap();
    assert_eq!(server.get("/").status, 200);
    assert_eq!(
        server.upload(tray, "good.png", &small_png(1)).status,
        201,
        "its turn comes once the slow ones are cut off"
    );
    for stream in &mut slow {
        assert_eq!(answer(stream).status, 408);
    }
    assert_eq!(answer(&mut change).status, 408);
    let _ = answer(&mut half);
    assert!(began.elapsed() < Duration::from_secs(45), "{:?}", began.elapsed());
}

#[test]
fn two_hundred_uploads_at_once_are_all_answered() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    let (taken, full) = (AtomicUsize::new(0), AtomicUsize::new(0));
    std::thread::scope(|scope| {
        for i in 0..200 {
            let (server, taken, full) = (&server, &taken, &full);
            scope.spawn(move || match server.upload(tray, &format!("{i}.png"), &small_png(i)).status {
                201 => taken.fetch_add(1, Ordering::Relaxed),
                507 => full.fetch_add(1, Ordering::Relaxed),
                other => panic!("{i}: {other}"),
            });
        }
    });
    assert_eq!((taken.into_inner(), full.into_inner()), (120, 80), "as many as are kept, and the rest told so");
    assert_eq!(server.settled()["trays"][0]["photos"].as_array().unwrap().len(), 120);
    assert_eq!(std::fs::read_dir(place.path().join("photos")).unwrap().count(), 120);
    if let Some(peak) = server.peak_mib() {
        assert!(peak < 300, "{peak} MiB");
    }
}

#[test]
fn markup_in_names_stays_text() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    let name = "<img src=x onerror=alert(1)>\"'&.png";
    let path = format!("/api/trays/{tray}/photos?name={}", coded(name));
    assert_eq!(call(&server.address, "POST", &path, &[], &small_png(5)).status, 201);
    server.done(&format!("/api/trays/{tray}"), &json!({ "name": "</script><script>alert(1)</script>" }));
    let state = server.get("/api/state");
    assert_eq!(state.header("content-type"), Some("application/json"));
    assert_eq!(state.json()["trays"][0]["photos"][0]["name"], name);
}
