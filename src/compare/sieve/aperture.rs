/// Aperture of a sieve, µm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aperture(pub f64);

/// Why a text names no aperture.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "each variant is its message")]
pub enum ApertureError {
    #[error("`{0}` is no aperture. Give it in µm (710), in mm (0.71mm), or by its number (no25)")]
    Text(String),
    #[error(
        "an aperture of {um} µm is beyond what sieves for grounds have (20 to 10000 µm). Apertures are in µm: 710; write the unit \
         where it is mm: 0.71mm"
    )]
    Range { um: f64 },
    #[error("sieve number {0} is not known. Give the aperture in µm")]
    Number(String),
}

/// Sieve numbers and their apertures, µm.
///
/// Source: ISO 3310-1 / ASTM E11 nominal sizes (from memory; twelve of them seen in WHO, International Pharmacopoeia, and
/// checked in `tests/published.rs` by their ratio 2^(1/4)).
pub(super) const NUMBERS: [(u32, f64); 29] = [
    (4, 4750.0),
    (5, 4000.0),
    (6, 3350.0),
    (7, 2800.0),
    (8, 2360.0),
    (10, 2000.0),
    (12, 1700.0),
    (14, 1400.0),
    (16, 1180.0),
    (18, 1000.0),
    (20, 850.0),
    (25, 710.0),
    (30, 600.0),
    (35, 500.0),
    (40, 425.0),
    (45, 355.0),
    (50, 300.0),
    (60, 250.0),
    (70, 212.0),
    (80, 180.0),
    (100, 150.0),
    (120, 125.0),
    (140, 106.0),
    (170, 90.0),
    (200, 75.0),
    (230, 63.0),
    (270, 53.0),
    (325, 45.0),
    (400, 38.0),
];

impl std::str::FromStr for Aperture {
    type Err = ApertureError;

    fn from_str(text: &str) -> Result<Self, ApertureError> {
        let plain = text.trim().to_lowercase();
        if let Some(number) = plain.strip_prefix("no") {
            let number = number.trim_matches(['.', ' ']);
            let known = NUMBERS.iter().find(|(n, _)| n.to_string() == number);
            return known.map(|(_, um)| Aperture(*um)).ok_or_else(|| ApertureError::Number(number.to_owned()));
        }
        let (digits, unit) = if let Some(digits) = plain.strip_suffix("mm") {
            (digits, 1000.0)
        } else {
            (plain.strip_suffix("µm").or(plain.strip_suffix("um")).unwrap_or(&plain), 1.0)
        };
        let value: f64 = digits.trim().parse().map_err(|_| ApertureError::Text(text.to_owned()))?;
        let um = value * unit;
        if !(20.0..=10_000.0).contains(&um) {
            return Err(ApertureError::Range { um });
        }
        Ok(Aperture(um))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn apertures_by_size_unit_and_number() {
        let of = |t: &str| t.parse::<Aperture>().map(|a| a.0);
        assert_eq!(of("710"), Ok(710.0));
        assert_eq!(of("0.71 mm"), Ok(710.0));
        assert_eq!(of("355µm"), Ok(355.0));
        assert_eq!(of("No. 25"), Ok(710.0));
        assert!(matches!(of("250mm"), Err(ApertureError::Range { .. })));
        assert!(matches!(of("0.71"), Err(ApertureError::Range { .. })));
        assert!(matches!(of("wide"), Err(ApertureError::Text(_))));
        assert!(matches!(of("no26"), Err(ApertureError::Number(_))));
    }

    #[test]
    fn each_number_is_a_step_of_the_fourth_root_of_two() {
        // Structure of the series: R 40/3, nominal sizes rounded to within 2.5 %.
        for pair in NUMBERS.windows(2) {
            assert!((pair[0].1 / pair[1].1 / 2f64.powf(0.25) - 1.0).abs() < 0.025, "{pair:?}");
        }
    }
}
