//! The server in a fresh folder, and the smallest client that can also misbehave.

use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

pub struct Server {
    child: Child,
    /// Kept open: the server may say more.
    _said: BufReader<ChildStdout>,
    /// `127.0.0.1:port`.
    pub address: String,
    /// What it said until it was ready.
    pub greeting: String,
}

/// What came back.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        let line = self.head.lines().find(|l| l.to_lowercase().starts_with(&format!("{name}:")))?;
        Some(line.split_once(':')?.1.trim())
    }
}

pub fn folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

pub fn demo(name: &str) -> Vec<u8> {
    std::fs::read(demo_folder().join(name)).unwrap()
}

pub fn demo_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-images")
}

/// One request on a connection of its own. `headers` are added, a header of the same name standing in for the usual one.
pub fn call(address: &str, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
    let mut stream = open(address);
    let _ = stream.write_all(head(address, method, path, headers, Some(body.len())).as_bytes());
    // A server that refuses early may close before all is sent.
    let _ = stream.write_all(body);
    answer(&mut stream)
}

pub fn open(address: &str) -> TcpStream {
    let stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(90))).unwrap();
    stream
}

pub fn head(address: &str, method: &str, path: &str, headers: &[(&str, &str)], length: Option<usize>) -> String {
    let mut text = format!("{method} {path} HTTP/1.1\r\nconnection: close\r\n");
    let has = |name: &str| headers.iter().any(|(n, _)| n.eq_ignore_ascii_case(name));
    if !has("host") {
        let _ = write!(text, "host: {address}\r\n");
    }
    if !has("origin") && method != "GET" {
        let _ = write!(text, "origin: http://{address}\r\n");
    }
    if let Some(length) = length {
        let _ = write!(text, "content-length: {length}\r\n");
    }
    for (name, value) in headers.iter().filter(|(_, v)| !v.is_empty()) {
        let _ = write!(text, "{name}: {value}\r\n");
    }
    text + "\r\n"
}

pub fn answer(stream: &mut TcpStream) -> Answer {
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    let at = bytes.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(bytes.len());
    let head = String::from_utf8_lossy(&bytes[..at]).into_owned();
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    Answer { status, head, body: bytes.get(at + 4..).unwrap_or_default().to_vec() }
}

impl Server {
    pub fn start(folder: &Path) -> Self {
        Server::with(folder, &[])
    }

    pub fn with(folder: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_lightsieve"))
            .args(["serve", "--port", "0", "--folder"])
            .arg(folder)
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap();
        let mut said = BufReader::new(child.stdout.take().unwrap());
        let mut greeting = String::new();
        let last = if more.is_empty() { "Ctrl+C ends" } else { "nowhere else" };
        while !greeting.contains(last) {
            assert!(said.read_line(&mut greeting).unwrap() > 0, "the server ended: {greeting}");
        }
        let address = greeting.split("http://").nth(1).unwrap().split('/').next().unwrap().to_owned();
        Server { child, _said: said, address, greeting }
    }

    pub fn get(&self, path: &str) -> Answer {
        call(&self.address, "GET", path, &[], b"")
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        let text = body.to_string();
        call(&self.address, "POST", path, &[("content-type", "application/json")], text.as_bytes())
    }

    /// A change that must be made.
    pub fn done(&self, path: &str, body: &Value) -> Answer {
        let answer = self.post(path, body);
        assert!((200..300).contains(&answer.status), "{path}: {} {}", answer.status, answer.text());
        answer
    }

    pub fn state(&self) -> Value {
        self.get("/api/state").json()
    }

    pub fn tray(&self) -> u64 {
        self.done("/api/trays", &json!({})).json()["id"].as_u64().unwrap()
    }

    pub fn upload(&self, tray: u64, name: &str, bytes: &[u8]) -> Answer {
        call(&self.address, "POST", &format!("/api/trays/{tray}/photos?name={}", coded(name)), &[], bytes)
    }

    /// A tray with one demo photo and a scale.
    pub fn tray_with(&self, photos: &[&str], scale: &Value) -> u64 {
        let tray = self.tray();
        self.done(&format!("/api/trays/{tray}"), &json!({ "scale": scale }));
        for name in photos {
            let answer = self.upload(tray, name, &demo(name));
            assert_eq!(answer.status, 201, "{}", answer.text());
        }
        tray
    }

    /// Waits until no photo is waiting or being measured, and gives the state.
    pub fn settled(&self) -> Value {
        let end = Instant::now() + Duration::from_secs(60);
        loop {
            let state = self.state();
            let mut photos = state["trays"].as_array().unwrap().iter().flat_map(|t| t["photos"].as_array().unwrap());
            if !photos.any(|p| p["status"] == "waiting" || p["status"] == "measuring") {
                return state;
            }
            assert!(Instant::now() < end, "still measuring: {state}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Most memory that the server ever took, MiB; `None` where the system does not say.
    pub fn peak_mib(&self) -> Option<u64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let line = status.lines().find(|l| l.starts_with("VmHWM"))?;
        Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? / 1024)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // As a power cut would.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A name as it stands in an address.
pub fn coded(name: &str) -> String {
    name.bytes().fold(String::new(), |mut out, b| {
        if b.is_ascii_alphanumeric() {
            out.push(char::from(b));
        } else {
            let _ = write!(out, "%{b:02X}");
        }
        out
    })
}

/// A small picture that no other number gives; it is a photo, and holds nothing to measure.
pub fn small_png(number: u32) -> Vec<u8> {
    png(16, 16, png::ColorType::Grayscale, png::BitDepth::Eight, &|i| if i < 4 { number.to_be_bytes()[i] } else { 200 })
}

pub fn png(w: u32, h: u32, colour: png::ColorType, depth: png::BitDepth, byte: &dyn Fn(usize) -> u8) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, w, h);
    encoder.set_color(colour);
    encoder.set_depth(depth);
    let mut writer = encoder.write_header().unwrap();
    let bytes = colour.samples() * if depth == png::BitDepth::Sixteen { 2 } else { 1 } * (w * h) as usize;
    writer.write_image_data(&(0..bytes).map(byte).collect::<Vec<_>>()).unwrap();
    writer.finish().unwrap();
    out
}
