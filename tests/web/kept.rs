//! What was done is there after a restart; what was taken away can be brought back until then.

use serde_json::json;

use crate::server::{Server, call, folder, small_png};

#[test]
fn everything_is_there_after_the_server_was_cut_off() {
    let place = folder();
    let work = place.path().join("work");
    let (tray, before, result) = {
        let server = Server::start(&work);
        let tray = server.tray_with(&["finer-grind.jpg"], &json!({ "from": "given", "um_per_px": 16 }));
        let state = server.settled();
        let photo = state["trays"][0]["photos"][0].clone();
        let pick = json!({ "id": 3, "serial": photo["serial"], "out": true });
        server.done(&format!("/api/photos/{}/particle", photo["id"]), &pick);
        server.done(&format!("/api/trays/{tray}"), &json!({ "name": "left bench <b>" }));
        server.done("/api/settings", &json!({ "fines_um": 120 }));
        let weights = json!({ "charge_g": null, "retained": [[355, 12.9]], "receiver_g": 3.2, "step_g": 0.1 });
        server.done(&format!("/api/trays/{tray}"), &json!({ "weights": weights }));
        let result = server.get(&format!("/api/trays/{tray}/measurement.json")).body;
        (tray, server.settled(), result)
    };
    let server = Server::start(&work);
    let after = server.settled();
    assert_eq!(after["trays"][0]["name"], "left bench <b>");
    assert_eq!(after["trays"][0]["photos"][0]["left_out"], 1);
    assert_eq!(after["trays"][0]["weights"], before["trays"][0]["weights"]);
    assert_eq!(after["fines_um"], 120.0);
    assert!(server.get(&format!("/api/trays/{tray}/measurement.json")).body == result);
}

#[test]
fn what_is_taken_away_comes_back_until_the_next_start() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray();
    let id = |n| server.upload(tray, &format!("{n}.png"), &small_png(n)).json()["id"].as_u64().unwrap();
    let (first, second) = (id(1), id(2));
    let names = |server: &Server| -> Vec<String> {
        let state = server.state();
        let photos = state["trays"].as_array().unwrap().iter().flat_map(|t| t["photos"].as_array().unwrap().clone());
        photos.map(|p| p["name"].as_str().unwrap().to_owned()).collect()
    };
    server.done(&format!("/api/photos/{first}"), &json!({ "removed": true }));
    assert_eq!(names(&server), ["2.png"]);
    server.done(&format!("/api/photos/{first}"), &json!({ "removed": false }));
    assert_eq!(names(&server), ["1.png", "2.png"]);
    server.done(&format!("/api/trays/{tray}"), &json!({ "removed": true }));
    assert!(names(&server).is_empty());
    server.done(&format!("/api/trays/{tray}"), &json!({ "removed": false }));
    server.done(&format!("/api/photos/{second}"), &json!({ "removed": true }));
    let files = || std::fs::read_dir(place.path().join("photos")).unwrap().count();
    assert_eq!(files(), 2);
    drop(server);
    let server = Server::start(place.path());
    assert_eq!(names(&server), ["1.png"]);
    assert_eq!(files(), 1, "what was taken away is deleted at the next start");
}

#[test]
fn a_bad_photo_does_not_keep_the_good_ones_from_being_measured() {
    let place = folder();
    let server = Server::start(place.path());
    let tray = server.tray_with(&["finer-grind.jpg"], &json!({ "from": "given", "um_per_px": 16 }));
    assert_eq!(server.upload(tray, "flat.png", &small_png(7)).status, 201, "a picture, though nothing can be measured");
    let state = server.settled();
    let photos = state["trays"][0]["photos"].as_array().unwrap();
    assert_eq!((photos[0]["status"].as_str(), photos[1]["status"].as_str()), (Some("measured"), Some("failed")));
    assert!(photos[1]["why"].as_str().unwrap().len() > 20, "{}", photos[1]);
    assert!(server.get(&format!("/api/trays/{tray}/result")).json()["rows"].is_array());
    let copy = server.upload(tray, "copy.jpg", &crate::server::demo("finer-grind.jpg"));
    assert!(copy.status == 422 && copy.text().contains("same photo as finer-grind.jpg"), "{}", copy.text());
}

#[test]
fn a_new_sample_comes_with_its_first_photo() {
    let place = folder();
    let server = Server::start(place.path());
    let send = |tray: u64, picture: u32| {
        let path = format!("/api/trays/{tray}/photos?new=true&name=a.png");
        call(&server.address, "POST", &path, &[], &small_png(picture)).status
    };
    let drawn = (1 << 32) + 7;
    assert_eq!((send(drawn, 1), send(drawn, 2)), (201, 201));
    assert_eq!((send(1, 3), send(1 << 53, 3)), (404, 404), "numbers that pages do not draw");
    let state = server.state();
    let trays = state["trays"].as_array().unwrap();
    assert_eq!((trays.len(), trays[0]["id"].as_u64()), (1, Some(drawn)));
    assert_eq!(trays[0]["photos"].as_array().unwrap().len(), 2);
    assert_ne!(server.tray(), drawn);
}
