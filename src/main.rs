use lightsieve::pipeline::*;
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let s = Settings::new(ScaleChoice::Given(a[4].parse().unwrap()));
    let m = measure_photo(a[2].as_ref(), &s).unwrap();
    let (sample, f, _) = distribution(std::slice::from_ref(&m), &s).unwrap();
    let names = lightsieve::distribution::Figures::NAMES;
    let body: Vec<String> = names.iter().zip(f.to_array()).map(|(n, v)| format!("\"{n}\":{v}")).collect();
    std::fs::write(&a[6], format!("{{\"particles\":{{\"counted\":{}}},\"distribution\":{{{}}}}}", sample.count(), body.join(","))).unwrap();
    let mut csv = String::from("x_px,y_px,ecd_um,flags\n");
    for p in sample.particles() { csv += &format!("{},{},{},{}\n", p.x_px, p.y_px, p.ecd_um, p.flags.names()); }
    std::fs::write(&a[8], csv).unwrap();
}
