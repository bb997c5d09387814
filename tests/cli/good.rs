//! Measurements that succeed.

use serde_json::Value;

use crate::pictures::{grounds, grounds_jpeg, more_grounds_jpeg};
use crate::support::{Desk, FIGURES, figure, has_null, near, number};

const EVERYTHING: &str =
    "measure a.jpg --scale 20 --json out.json --particles out.csv --plot out.svg --overlay out.png";

fn measured() -> Desk {
    let desk = Desk::with_grounds("a.jpg");
    let outcome = desk.run(EVERYTHING);
    outcome.is_done();
    for word in ["a.jpg", "D50", "µm"] {
        assert!(outcome.stdout.contains(word), "{word:?} is missing in:\n{}", outcome.stdout);
    }
    desk
}

fn counted(measurement: &Value) -> usize {
    measurement["particles"]["counted"].as_u64().unwrap() as usize
}

#[test]
fn json_holds_the_contract() {
    let m = measured().json("out.json");
    assert!(!has_null(&m), "a null in {m}");
    assert_eq!(m["schema"], "lightsieve/measurement/1");
    assert_eq!(m["scale"]["um_per_px"], 20.0);
    assert_eq!(m["scale"]["relative_uncertainty"], 0.0);
    assert_eq!(m["scale"]["from"], "given");
    for field in ["counted", "on_border", "below_limit", "split"] {
        assert!(m["particles"][field].is_u64(), "particles.{field}");
    }
    assert!(counted(&m) > 50);
    assert!(number(&m["limit"]["smallest_ecd_um"]) > 0.0);
    let rows = m["limit"]["recall"].as_array().unwrap();
    assert!(rows.len() > 8 && rows.windows(2).all(|w| number(&w[0]["ecd_um"]) < number(&w[1]["ecd_um"])));
    let (first, last) = (&rows[0], &rows[rows.len() - 1]);
    assert!(number(&first["recall"]) < 0.2 && number(&first["found"]) < 0.3, "{first}");
    assert!(number(&last["recall"]) > 0.95 && number(&last["bias_pct"]).abs() < 15.0, "{last}");
    assert_eq!(m["distribution"]["fines_below_um"], 100.0);
    assert_eq!(m["distribution"]["fines_at_least"], false);
    for name in FIGURES {
        let interval = &m["distribution"]["intervals"][name];
        let (low, value, high) = (number(&interval[0]), figure(&m, name), number(&interval[1]));
        assert!(0.0 <= low && low <= value && value <= high, "{name}: {low} {value} {high}");
    }
    assert_eq!(m["photo"].as_array().unwrap().len(), 1);
    assert_eq!(m["photo"][0]["file"], "a.jpg");
    assert!(m["photo"][0]["advice"].is_array());
}

#[test]
fn the_figures_are_near_the_truth() {
    let m = measured().json("out.json");
    let truth = grounds().mass_figures(100.0);
    near(figure(&m, "d50_um"), truth.d50_um, 0.05, "D50");
    assert!(figure(&m, "d10_um") < figure(&m, "d50_um") && figure(&m, "d50_um") < figure(&m, "d90_um"));
}

#[test]
fn csv_has_the_columns_and_a_row_for_each_particle() {
    let desk = measured();
    let text = desk.text("out.csv");
    let columns = "photo,x_px,y_px,ecd_um,feret_max_um,feret_min_um,aspect_ratio,circularity,solidity,weight,flags";
    assert!(text.starts_with(columns), "header: {}", text.lines().next().unwrap());
    let rows = desk.csv("out.csv");
    assert_eq!(rows.len(), counted(&desk.json("out.json")));
    for row in &rows {
        assert_eq!(row["photo"], "a.jpg");
        let of = |column: &str| row[column].parse::<f64>().unwrap();
        assert!((0.0..900.0).contains(&of("x_px")) && (0.0..700.0).contains(&of("y_px")), "{row:?}");
        assert!(of("ecd_um") > 0.0 && of("weight") >= 1.0, "{row:?}");
        assert!(of("feret_min_um") <= of("feret_max_um"), "{row:?}");
        for share in ["aspect_ratio", "circularity", "solidity"] {
            assert!(of(share).is_finite() && of(share) > 0.0, "{share}: {row:?}");
        }
    }
}

#[test]
fn the_plot_has_the_three_sizes_and_may_be_a_png() {
    let desk = measured();
    let svg = desk.text("out.svg");
    assert!(svg.starts_with("<svg"), "it starts with {:?}", &svg[..40]);
    for label in ["D10", "D50", "D90"] {
        assert!(svg.contains(label), "{label}");
    }
    desk.run("measure a.jpg --scale 20 --plot plot.png").is_done();
    assert!(image::load_from_memory(&desk.bytes("plot.png")).is_ok());
}

#[test]
fn the_overlay_holds_the_photo_and_a_strip_with_the_key_below_it() {
    let overlay = image::load_from_memory(&measured().bytes("out.png")).unwrap();
    assert!(overlay.width() == 900 && (720..800).contains(&overlay.height()), "{} px high", overlay.height());
    // Nothing is drawn over the lower left corner; the scale bar lies below it.
    let (photo, overlay) = (image::load_from_memory(grounds_jpeg()).unwrap().into_rgb8(), overlay.into_rgb8());
    let changed =
        (0..200).flat_map(|x| (600..700).map(move |y| (x, y))).filter(|&(x, y)| photo[(x, y)] != overlay[(x, y)]);
    let share = changed.count() as f64 / 20_000.0;
    assert!(share < 0.2, "{share} of the corner");
    assert!((700..overlay.height()).any(|y| overlay[(20, y)].0 == [30; 3]));
}

#[test]
fn two_runs_give_the_same_bytes() {
    let (a, b) = (measured(), measured());
    assert!(a.bytes("out.json") == b.bytes("out.json") && a.bytes("out.csv") == b.bytes("out.csv"));
}

#[test]
fn one_thread_and_four_give_the_same_bytes() {
    let on = |threads| {
        let desk = Desk::with_grounds("a.jpg").and("b.jpg", more_grounds_jpeg());
        desk.run_on_threads(threads, "measure a.jpg b.jpg --scale 20 --json out.json --particles out.csv").is_done();
        (desk.bytes("out.json"), desk.bytes("out.csv"))
    };
    assert!(on("1") == on("4"));
}

#[test]
fn only_the_intervals_depend_on_the_seed() {
    let desk = Desk::with_grounds("a.jpg");
    desk.run("measure a.jpg --scale 20 --seed 1 --json 1.json --particles 1.csv").is_done();
    desk.run("measure a.jpg --scale 20 --seed 2 --json 2.json --particles 2.csv").is_done();
    let (one, two) = (desk.json("1.json"), desk.json("2.json"));
    assert!(desk.bytes("1.csv") == desk.bytes("2.csv"));
    assert_eq!(figure(&one, "d50_um"), figure(&two, "d50_um"));
    assert_ne!(one["distribution"]["intervals"], two["distribution"]["intervals"]);
}

#[test]
fn sizes_go_with_the_scale() {
    let desk = Desk::with_grounds("a.jpg");
    desk.run("measure a.jpg --scale 10 --json 10.json").is_done();
    desk.run("measure a.jpg --scale 30 --json 30.json").is_done();
    near(figure(&desk.json("30.json"), "d50_um"), 3.0 * figure(&desk.json("10.json"), "d50_um"), 1e-9, "D50");
}

#[test]
fn the_outputs_do_not_change_the_table() {
    let desk = Desk::with_grounds("a.jpg");
    let before = desk.contents();
    let plain = desk.run("measure a.jpg --scale 20");
    plain.is_done();
    desk.is_as(&before);
    assert_eq!(plain.stdout, desk.run(EVERYTHING).stdout);
}

#[test]
fn a_disc_in_the_picture_gives_the_scale() {
    let desk = Desk::empty();
    desk.run("render a.jpg --size 1200x900 --disc 8").is_done();
    desk.run("measure a.jpg --reference disc=8 --json out.json").is_done();
    let scale = &desk.json("out.json")["scale"];
    assert_eq!(scale["from"], "disc");
    near(number(&scale["um_per_px"]), 20.0, 0.01, "µm per pixel");
    assert!(number(&scale["relative_uncertainty"]) > 0.0);
}

#[test]
fn several_photos_are_one_sample() {
    let desk = Desk::with_grounds("a.jpg").and("b.jpg", more_grounds_jpeg());
    for line in
        ["a.jpg --json a.json", "b.jpg --json b.json", "a.jpg b.jpg --json ab.json --particles ab.csv --overlay ab.png"]
    {
        desk.run(&format!("measure --scale 20 {line}")).is_done();
    }
    let [a, b, both] = ["a.json", "b.json", "ab.json"].map(|name| desk.json(name));
    assert_eq!(counted(&both), counted(&a) + counted(&b));
    assert_eq!(desk.csv("ab.csv").len(), counted(&both));
    let own = |m: &Value, i: usize| (m["photo"][i]["file"].clone(), m["photo"][i]["particles"].clone());
    assert_eq!([own(&both, 0), own(&both, 1)], [own(&a, 0), own(&b, 0)]);
    let (low, high) = (figure(&a, "d50_um").min(figure(&b, "d50_um")), figure(&a, "d50_um").max(figure(&b, "d50_um")));
    assert!((low..=high).contains(&figure(&both, "d50_um")));
    for overlay in ["ab-a.png", "ab-b.png"] {
        assert!(image::load_from_memory(&desk.bytes(overlay)).is_ok(), "{overlay}");
    }
}

#[test]
fn a_closed_pipe_is_no_error() {
    let desk = Desk::with_grounds("a.jpg");
    assert_eq!(desk.run_into_closed_pipe("measure a.jpg --scale 20 --json out.json"), Some(0));
    assert_eq!(desk.json("out.json")["schema"], "lightsieve/measurement/1");
    assert_eq!(desk.run_into_closed_pipe("--help"), Some(0));
    assert_eq!(desk.run_into_closed_pipe("render b.jpg --size 300x300"), Some(0));
}

#[test]
fn a_check_gives_figures_and_writes_nothing() {
    let desk = Desk::with_grounds("a.jpg");
    let before = desk.contents();
    let outcome = desk.run("measure a.jpg --scale 20 --check");
    outcome.is_done();
    for word in ["focus", "clipped", "shadows", "px of blur", "good up to"] {
        assert!(outcome.stdout.contains(word), "{word:?} is missing in:\n{}", outcome.stdout);
    }
    assert!(!outcome.stdout.contains("D50"));
    desk.is_as(&before);
    desk.refuses("measure a.jpg --scale 20 --check --json out.json", 2, &["--check", "--json"]);
}

#[test]
fn a_page_holds_the_answer_the_photo_and_the_data_and_no_folder() {
    let desk = Desk::empty().and("bench/a.jpg", grounds_jpeg());
    desk.run("measure bench/a.jpg --scale 20 --report m.html --json m.json --particles p.csv").is_done();
    let page = desk.text("m.html");
    let place = |what: &str| page.find(what).unwrap_or_else(|| panic!("no {what}"));
    assert!(place("Half of the mass is finer than") < place("<svg"), "the answer comes first");
    assert!(place("<svg") < place("data:image/jpeg;base64,"));
    assert!(!page.contains("bench/"), "a page that is passed on does not tell folders");
    assert!(
        !page.contains("src=\"http") && !page.contains("href=\"http") && !page.contains("url("),
        "nothing from outside"
    );
    // What the page carries is what the files hold, but for the folder.
    let carried = |name: &str| {
        let start = place(&format!("data-name=\"{name}\">")) + format!("data-name=\"{name}\">").len();
        page[start..].split("</script>").next().unwrap().replace("\\u003c", "<")
    };
    assert_eq!(carried("measurement.json"), desk.text("m.json").replace("bench/", ""));
    assert_eq!(carried("particles.csv"), desk.text("p.csv").replace("bench/", ""));
    desk.refuses("measure bench/a.jpg --scale 20 --json bench/a.jpg", 2, &["ends in .json"]);
    std::fs::copy(desk.path("bench/a.jpg"), desk.path("bench/a.html")).unwrap();
    desk.refuses("measure bench/a.html --scale 20 --report bench/a.html", 2, &["overwrite"]);
    desk.run("batch bench --scale 20 --report all.html").is_done();
    assert!(desk.text("all.html").contains("overview.csv"));
}
