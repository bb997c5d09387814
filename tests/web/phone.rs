//! The door for phones: one code, one phone, and nothing behind it but a way to put photos into a tray.

use serde_json::{Value, json};

use crate::server::{Server, call, folder, small_png};

/// The door's address and the code, as they stand in the link.
fn link(server: &Server) -> (String, String) {
    let text = server.state()["phone"]["link"].as_str().unwrap().to_owned();
    let (address, key) = text.trim_start_matches("http://").split_once("/#").unwrap();
    (address.to_owned(), key.to_owned())
}

fn join(address: &str, key: &str) -> (u16, String) {
    let body = json!({ "key": key }).to_string();
    let answer = call(address, "POST", "/api/join", &[("content-type", "application/json")], body.as_bytes());
    let cookie = answer.header("set-cookie").unwrap_or_default().to_owned();
    (answer.status, cookie)
}

#[test]
fn without_the_option_only_this_machine_is_listened_to() {
    let place = folder();
    let server = Server::start(place.path());
    assert_eq!(server.state()["phone"], Value::Null);
    assert!(server.address.starts_with("127.0.0.1:"));
    let port = server.address.split(':').nth(1).unwrap();
    for other in ["127.0.0.2", "[::1]"] {
        assert!(std::net::TcpStream::connect(format!("{other}:{port}")).is_err(), "{other}");
    }
    assert_eq!(server.get("/api/phone-code.svg").status, 404);
}

#[cfg(target_os = "linux")]
#[test]
fn a_code_lets_one_phone_in_and_its_photos_show_on_the_computer() {
    let place = folder();
    // Another address of this machine stands in for that in a network.
    let server = Server::with(place.path(), &["--lan=127.0.0.2"]);
    let tray = server.tray();
    let (door, key) = link(&server);
    assert!(server.greeting.contains(&key) && server.greeting.contains('█'), "the code is on the terminal");
    assert!(server.get("/api/phone-code.svg").text().contains("<svg"));
    assert_eq!(call(&door, "GET", "/", &[], b"").status, 200);

    for (method, path) in [("GET", "/api/phone"), ("POST", "/api/trays"), ("POST", "/api/trays/1/photos?name=x")] {
        let typed = [("content-type", "application/json")];
        assert_eq!(call(&door, method, path, &typed, b"{}").status, 401, "{path}");
        for cookie in [
            "lightsieve-phone=",
            "lightsieve-phone=0123456789abcdef0123456789abcdef",
            &format!("lightsieve-phone={key}"),
        ] {
            let with = [("content-type", "application/json"), ("cookie", cookie)];
            assert_eq!(call(&door, method, path, &with, b"{}").status, 401, "{path} {cookie}");
        }
    }
    assert_eq!(join(&door, "").0, 403);
    assert_eq!(join(&door, &key[1..]).0, 403);
    let (status, cookie) = join(&door, &key);
    assert_eq!(status, 204);
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    assert_eq!(join(&door, &key).0, 403, "the code is spent");
    assert_ne!(link(&server).1, key, "the page shows the next one");

    let cookie = cookie.split(';').next().unwrap();
    let with = [("cookie", cookie)];
    let sent = call(&door, "POST", &format!("/api/trays/{tray}/photos?name=a.png"), &with, &small_png(1));
    assert_eq!(sent.status, 201, "{}", sent.text());
    assert_eq!(server.state()["trays"][0]["photos"][0]["name"], "a.png");
    assert_eq!(call(&door, "GET", "/api/phone", &with, b"").json()["trays"][0]["photos"][0]["name"], "a.png");

    for path in [
        "/api/state",
        "/api/events",
        "/api/photos/2/picture",
        "/api/trays/1/result",
        "/api/phone-code.svg",
        "/asset/app.js",
    ] {
        assert_eq!(call(&door, "GET", path, &with, b"").status, 404, "{path} is not behind this door");
    }
    let foreign = [("cookie", cookie), ("origin", "http://evil.example"), ("content-type", "application/json")];
    assert_eq!(call(&door, "POST", "/api/trays", &foreign, b"{}").status, 403);
    let renamed = [("cookie", cookie), ("host", "evil.example")];
    assert_eq!(call(&door, "GET", "/api/phone", &renamed, b"").status, 421);
    // Each door answers to its own name alone.
    assert_eq!(call(&server.address, "GET", "/api/state", &[("host", door.as_str())], b"").status, 421);
}
