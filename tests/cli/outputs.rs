//! Where results may and may not go.

use crate::pictures::{broken_jpeg, grounds_jpeg, more_grounds_jpeg};
use crate::support::Desk;

/// Asserts that `outputs` are refused with `status` and a message that holds `words`.
#[track_caller]
fn refused(outputs: &str, status: i32, words: &[&str]) {
    let desk = Desk::with_grounds("a.jpg").and_folder("taken.json").and_folder("taken.png");
    desk.refuses(&format!("measure a.jpg --scale 20 {outputs}"), status, words);
}

#[test]
fn an_output_in_a_folder_that_does_not_exist_is_refused() {
    for option in ["--json away/x.json", "--particles away/x.csv", "--plot away/x.svg", "--overlay away/x.png"] {
        let file = option.split_once(' ').unwrap().1;
        refused(option, 1, &[file, "cannot be written", "folder that exists"]);
    }
}

#[test]

fn a_place_that_cannot_be_written_is_told_once() {
    let message = Desk::with_grounds("a.jpg").run("measure a.jpg --scale 20 --json away/x.json").stderr;
    assert!(message.matches("os error").count() <= 1, "{message}");
    assert!(!message.contains(".lightsieve-"), "{message}");
}

#[test]
fn a_bad_second_output_leaves_nothing_of_the_first() {
    refused("--json x.json --particles away/x.csv", 1, &["away/x.csv", "cannot be written"]);
}

#[test]
fn an_output_that_is_a_folder_is_refused() {
    refused("--json taken.json", 1, &["taken.json", "folder", "file name"]);
    refused("--overlay taken.png", 1, &["taken.png", "folder", "file name"]);
}

#[test]
fn a_plot_of_unknown_kind_is_refused() {
    refused("--plot x.jpg", 2, &["x.jpg", ".svg", ".png"]);
    refused("--plot x", 2, &["x", ".svg", ".png"]);
}

#[test]
fn an_overlay_of_unknown_kind_is_refused() {
    refused("--overlay x.jpg", 2, &["x.jpg", ".png"]);
    refused("--report x.txt", 2, &["x.txt", ".html"]);
}

#[test]
fn an_output_never_replaces_the_photo() {
    let desk = Desk::with("a", grounds_jpeg());
    for output in ["--json a", "--json ./a", "--particles a"] {
        desk.refuses(&format!("measure a --scale 20 {output}"), 2, &["a:", "overwrite", "another name"]);
    }
    // Nor another one, by a slip.
    refused("--json other.JPG", 2, &["other.JPG", "ends in .json or .csv"]);
    refused("--particles study.toml", 2, &["study.toml", "ends in .json or .csv"]);
    let desk = Desk::with_grounds("a.png");
    desk.refuses("measure a.png --scale 20 --overlay a.png", 2, &["a.png", "overwrite", "another name"]);
    desk.refuses("measure a.png --scale 20 --plot a.png", 2, &["a.png", "overwrite", "another name"]);
}

#[test]
fn two_outputs_with_one_name_are_refused() {
    refused("--json x --particles x", 2, &["x", "same name"]);
    refused("--plot x.png --overlay x.png", 2, &["x.png", "same name"]);
}

#[test]
fn two_outputs_with_one_name_spelled_differently_are_refused() {
    refused("--json x --particles ./x", 2, &["x", "same name"]);
}

#[test]
fn the_same_photo_twice_is_refused() {
    refused("a.jpg", 2, &["a.jpg", "twice"]);
    refused("./a.jpg --json x.json", 2, &["a.jpg", "twice"]);
}

#[test]
fn one_bad_photo_among_several_is_named_and_nothing_is_written() {
    let desk = Desk::with_grounds("a.jpg").and("b.jpg", broken_jpeg()).and("c.jpg", more_grounds_jpeg());
    let line = "measure a.jpg b.jpg c.jpg --scale 20 --json out.json --particles out.csv --overlay out.png";
    desk.refuses(line, 1, &["b.jpg", "cut short", "Nothing was written"]);
}

#[test]
fn an_older_result_stays_when_the_photo_is_refused() {
    let desk = Desk::with("a.jpg", broken_jpeg()).and("out.json", b"older");
    desk.refuses("measure a.jpg --scale 20 --json out.json", 1, &["a.jpg"]);
}

#[test]
fn a_result_replaces_an_older_one_wholly() {
    let older = vec![b' '; 1 << 20];
    let desk = Desk::with_grounds("a.jpg").and("out.json", &older);
    desk.run("measure a.jpg --scale 20 --json out.json").is_done();
    assert!(desk.json("out.json")["schema"].is_string() && desk.bytes("out.json").len() < older.len());
}

#[test]
fn names_with_spaces_and_letters_of_any_script_work() {
    let photo = "молотый кофе ☕ 1.jpg";
    let desk = Desk::with(&format!("мои фото/{photo}"), grounds_jpeg());
    let outputs = ["итог 1.json", "частицы 粉.csv", "график ☕.svg", "контуры é.png"];
    let input = format!("мои фото/{photo}");
    let words = ["measure", &input, "--scale", "20", "--json", outputs[0], "--particles", outputs[1]];
    desk.run_words(&[&words[..], &["--plot", outputs[2], "--overlay", outputs[3]]].concat()).is_done();
    for output in outputs {
        assert!(!desk.bytes(output).is_empty(), "{output}");
    }
    assert_eq!(desk.json(outputs[0])["photo"][0]["file"], input.as_str());
    assert_eq!(desk.csv(outputs[1])[0]["photo"], input);
    assert!(desk.text(outputs[2]).contains(photo), "the plot has the photo's name");
}

#[test]
fn a_refused_photo_with_such_a_name_is_named() {
    let photo = "молотый кофе ☕ 1.jpg";
    Desk::with(photo, b"").run_words(&["measure", photo, "--scale", "20"]).is_refused(1, &[photo, "empty"]);
}

#[cfg(unix)]
#[test]
fn a_control_character_in_a_name_stays_out_of_the_svg() {
    let desk = Desk::with_grounds("a\u{1b}b.jpg");
    desk.run("measure a\u{1b}b.jpg --scale 20 --plot p.svg").is_done();
    let svg = desk.text("p.svg");
    assert!(svg.contains("a\u{fffd}b.jpg") && !svg.contains('\u{1b}'));
}

#[test]
fn no_input_of_any_kind_is_replaced() {
    let sheet = std::fs::read("demo-images/on-the-sheet.jpg").unwrap();
    let table = |name: &str, first: usize| {
        let rows: Vec<String> = (0..60).map(|i| format!("{name}.jpg,{},1\n", first + 7 * i)).collect();
        format!("photo,ecd_um,weight\n{}", rows.concat())
    };
    let desk = Desk::with("sheet.jpg", &sheet)
        .and("a.csv", table("a", 200).as_bytes())
        .and("c.csv", table("c", 230).as_bytes());
    desk.run("calibrate sheet.jpg --output stand.json").is_done();
    desk.run("render p-b.png --size 300x300").is_done();
    let before = [desk.bytes("stand.json"), desk.bytes("p-b.png")];
    let stand = "--calibration stand.json --json stand.json";
    for line in [
        &format!("measure sheet.jpg {stand}"),
        &format!("compare a.csv c.csv {stand}"),
        &format!("sieve a.csv --charge 5 --retained 400=2 --receiver 3 {stand}"),
        &format!("plan a.csv {stand}"),
    ] {
        desk.run(line).is_refused(2, &["stand.json", "overwrite an input", "another name"]);
    }
    // Plots of several samples are named after them.
    desk.run("compare a=a.csv b=p-b.png c=c.csv --scale 20 --plot p.png").is_refused(2, &["p-b.png", "overwrite"]);
    desk.run("render p-b.png --size 300x300").is_refused(2, &["p-b.png", "exists already"]);
    assert!([desk.bytes("stand.json"), desk.bytes("p-b.png")] == before);
}
