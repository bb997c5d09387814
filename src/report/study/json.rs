//! Everything found as JSON, schema `lightsieve/study/1`; its fields are told in `docs/json.md`.

use serde_json::{Map, Value, json};

use super::super::dial;
use super::answer::{answer, standings};
use super::tables::shape;
use super::words;
use crate::distribution::Figures;
use crate::numeric::Estimate;
use crate::study::file::TastingKind;
use crate::study::findings::{Findings, TastingVerdict};

/// Name and version of the format.
pub const STUDY: &str = "lightsieve/study/1";

fn estimate(e: &Estimate, times: f64) -> Value {
    json!({ "value": times * e.value, "interval": [times * e.low, times * e.high] })
}

/// The findings as JSON.
pub fn json(f: &Findings) -> Vec<u8> {
    let [known, open] = standings(f);
    let whole = json!({
        "schema": STUDY,
        "title": f.study.title,
        "question": f.study.question,
        "invented": f.study.invented,
        "confidence_pct": 100.0 * f.study.level,
        "fines_below_um": f.study.fines_um,
        "answer": answer(f),
        "known": known,
        "not_known": open,
        "failed": f.failed.iter().map(|(what, why)| json!({ "what": what, "why": why })).collect::<Vec<_>>(),
        "samples": samples(f),
        "comparisons": comparisons(f),
        "sieves": sieves(f),
        "dial": dials(f),
        "wear": wear(f),
        "brews": brews(f),
        "cup_differences": cup_differences(f),
        "brew_time": brew_time(f),
        "tastings": tastings(f),
    });
    let mut text = serde_json::to_vec_pretty(&whole).unwrap_or_default();
    text.push(b'\n');
    text
}

fn samples(f: &Findings) -> Vec<Value> {
    let one = |(s, grind): (&crate::study::file::Sampled, &Option<crate::study::grind::Grind>)| {
        let figures = grind.as_ref().map(|g| {
            let named = Figures::NAMES.iter().zip(&g.figures).map(|(n, e)| ((*n).to_owned(), estimate(e, 1.0)));
            Value::Object(named.collect::<Map<_, _>>())
        });
        json!({
            "name": s.name,
            "burrs": f.study.burrs[s.burrs].name,
            "kg": s.kg,
            "setting": s.setting,
            "photos": grind.as_ref().map_or(0, |g| g.of_photos.len()),
            "particles": grind.as_ref().map_or(0, |g| g.grounds.sample.count()),
            "smallest_ecd_um": grind.as_ref().map(|g| g.smallest_ecd_um),
            "fines_at_least": grind.as_ref().map(|g| g.fines_at_least),
            "figures": figures,
        })
    };
    f.study.samples.iter().zip(&f.grinds).map(one).collect()
}

fn comparisons(f: &Findings) -> Vec<Value> {
    f.comparisons
        .iter()
        .map(|c| {
            let figures = c.differences.iter().map(|d| {
                json!({
                    "figure": d.quantity.name(),
                    "values": d.values,
                    "change_pct": d.relative_pct.as_ref().map(|e| estimate(e, 1.0)),
                    "p": d.p,
                    "p_adjusted": d.p_adjusted,
                    "alike": d.alike,
                    "differs": c.is_clear(d),
                })
            });
            json!({
                "base": c.sides[0].name,
                "other": c.sides[1].name,
                "verdict": super::super::comparison::kind(c.verdict),
                "text": super::super::verdict::sentences(c),
                "figures": figures.collect::<Vec<_>>(),
            })
        })
        .collect()
}

fn sieves(f: &Findings) -> Vec<Value> {
    let one = |(i, predicted): &(usize, Vec<Estimate>)| {
        let sample = &f.study.samples[*i];
        let stack = sample.sieve.as_ref()?;
        let layer = |k: usize| {
            json!({
                "aperture_um": stack.apertures_um.get(k),
                "weighed_g": stack.mass_g[k],
                "weighed_pct": stack.share[k].pct,
                "weighed_interval_pct": [stack.share[k].low_pct, stack.share[k].high_pct],
                "photo_pct": predicted.get(k).map(|e| estimate(e, 1.0)),
            })
        };
        let layers: Vec<Value> = (0..stack.mass_g.len()).map(layer).collect();
        Some(json!({ "sample": sample.name, "loss_g": stack.loss_g, "layers": layers }))
    };
    f.sieves.iter().filter_map(one).collect()
}

fn dials(f: &Findings) -> Value {
    match &f.dials {
        None => Value::Null,
        Some(Ok(d)) => json!(dial::document(d, f.study.fines_um)),
        Some(Err(e)) => json!({ "why_none": e.to_string() }),
    }
}

fn wear(f: &Findings) -> Vec<Value> {
    f.series
        .iter()
        .map(|s| {
            let mut row = json!({
                "burrs": f.study.burrs[s.burrs].name,
                "figure": Figures::NAMES[s.figure],
                "compared": words::basis(s.basis),
                "text": words::series(f, s).1,
            });
            match &s.trend {
                Err(e) => row["why_none"] = json!(e.to_string()),
                Ok(t) => {
                    let change = Estimate {
                        value: words::pct(t.change.value),
                        low: words::pct(t.change.low),
                        high: words::pct(t.change.high),
                        level: t.level,
                    };
                    let curve = t.curve();
                    row["shape"] = json!(shape(t.shape()));
                    row["p"] = json!(t.p);
                    row["p_adjusted"] = json!(t.p_adjusted);
                    row["change_pct"] = estimate(&change, 1.0);
                    row["done_95_kg"] =
                        json!(t.done.map(|d| json!({ "value": d.kg, "interval": [d.low_kg, d.high_kg] })));
                    row["smallest_detectable_pct"] = json!(words::pct(t.smallest_detectable));
                    row["curve"] = json!({
                        "first_kg": curve.first_kg,
                        "range_kg": curve.range_kg,
                        "start": curve.start.exp(),
                        "end": (curve.start + curve.change).exp(),
                        "rate_per_kg": curve.rate,
                    });
                    let points = s.samples.iter().zip(&t.points).map(|(sample, p)| {
                        json!({ "sample": f.study.samples[*sample].name, "kg": p.kg, "value": p.value.exp() })
                    });
                    row["points"] = json!(points.collect::<Vec<_>>());
                }
            }
            row
        })
        .collect()
}

fn brews(f: &Findings) -> Vec<Value> {
    let one = |(i, b): (usize, &crate::study::file::Brew)| {
        let found = f.cups.iter().find(|c| c.0 == i).map(|c| c.1);
        json!({
            "sample": f.study.samples[b.sample].name,
            "kind": b.kind.name(),
            "dose_g": b.dose_g,
            "time_s": b.time_s,
            "yield_pct": found.map(|e| estimate(&e.yield_pct, 1.0)),
            "retained_g_per_g": found.and_then(|e| e.retained_ratio),
        })
    };
    f.study.brews.iter().enumerate().map(one).collect()
}

fn cup_differences(f: &Findings) -> Vec<Value> {
    let one = |c: &crate::study::findings::CupPair| {
        json!({
            "samples": words::names(f, c.samples),
            "kind": c.kind.name(),
            "brews": c.brews,
            "difference_points": c.difference.as_ref().map(|d| estimate(&d.difference, 1.0)),
            "p_adjusted": c.p_adjusted,
            "text": words::cup_pair(f, c).1,
        })
    };
    f.cup_differences.iter().map(one).collect()
}

fn brew_time(f: &Findings) -> Vec<Value> {
    let one = |b: &crate::study::brew_time::BrewTime| {
        let effect = |i: usize| b.effects.as_ref().map(|e| estimate(&e[i].per_tenth_pct, 1.0));
        json!({
            "kind": b.kind.name(),
            "samples": b.rows.len(),
            "brews": b.brews,
            "left_out": b.left_out,
            "time_pct_per_10_pct_d50": effect(0),
            "time_pct_per_10_pct_fines": effect(1),
            "told_apart": !b.together(),
            "text": words::brew_time(b).1,
        })
    };
    f.brew_times.iter().map(one).collect()
}

fn tastings(f: &Findings) -> Vec<Value> {
    let one = |(i, (t, v)): (usize, (&crate::study::file::Tasting, &TastingVerdict))| {
        let mut row = json!({
            "samples": words::names(f, t.samples), "text": words::tasting(f, i).1, "p_adjusted": f.tastings_p[i],
        });
        match (t.kind, v) {
            (TastingKind::Triangle(t, similar), TastingVerdict::Triangle(v)) => {
                row["test"] = json!("triangle");
                row["presented"] = json!(t.presented);
                row["correct"] = json!(t.correct);
                row["critical"] = json!(v.critical);
                row["p"] = json!(v.p);
                row["differs"] = json!(v.differs);
                row["can_tell_pct"] = estimate(&v.can_tell, 100.0);
                row["can_tell_at_least_pct"] = json!(100.0 * v.at_least);
                row["can_tell_at_most_pct"] = json!(100.0 * v.at_most);
                row["similar_below_pct"] = json!(100.0 * similar);
                row["similar"] = json!(v.similar);
            }
            (TastingKind::Preference(p), TastingVerdict::Preference(v)) => {
                row["test"] = json!("preference");
                row["pairs"] = json!(p.pairs);
                row["prefer_first"] = json!(p.prefer_first);
                row["p"] = json!(v.p);
                row["differs"] = json!(v.differs);
                row["first_pct"] = estimate(&v.first, 100.0);
            }
            _ => {}
        }
        row
    };
    f.study.tastings.iter().zip(&f.tastings).enumerate().map(one).collect()
}
