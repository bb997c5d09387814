//! Numbers as people read them: no digit that the interval does not carry.

use crate::numeric::Estimate;

/// Decimals that show `half_width` to one significant digit, or to two when that digit is 1; at most 4.
pub fn decimals(half_width: f64) -> usize {
    if !(half_width.is_finite() && half_width > 0.0) {
        return 2;
    }
    let exponent = half_width.log10().floor();
    let first = half_width / 10f64.powf(exponent);
    let places = -exponent + f64::from(u8::from(first < 2.0));
    places.clamp(0.0, 4.0) as usize
}

/// Decimals of an estimate: those that its interval carries, and where it carries none, two digits of the value all the same.
fn decimals_of(estimate: &Estimate) -> usize {
    let carried = decimals(estimate.half_width());
    let hopeless = estimate.value != 0.0 && estimate.half_width() >= estimate.value.abs();
    let own = if hopeless { 1.0 - estimate.value.abs().log10().floor() } else { 0.0 };
    carried.max(own.clamp(0.0, 4.0) as usize)
}

/// Value of an estimate with its meaningful digits.
pub fn value(estimate: &Estimate) -> String {
    fixed(estimate.value, decimals_of(estimate))
}

/// Interval of an estimate with its meaningful digits.
pub fn interval(estimate: &Estimate) -> String {
    let places = decimals_of(estimate);
    format!("{} – {}", fixed(estimate.low, places), fixed(estimate.high, places))
}

/// A number with so many decimals, and no sign on zero.
fn fixed(number: f64, places: usize) -> String {
    let text = format!("{number:.places$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.bytes().all(|b| matches!(b, b'0' | b'.')) => zero.to_owned(),
        _ => text,
    }
}

/// Anything smaller is what computing leaves of zero, whatever the unit.
const NOTHING: f64 = 1e-9;

/// A number with `digits` significant digits, without an exponent.
pub fn significant(number: f64, digits: i32) -> String {
    if number.abs() < NOTHING {
        return "0".to_owned();
    }
    if !number.is_finite() {
        return format!("{number}");
    }
    let places = (digits - 1 - number.abs().log10().floor() as i32).max(0) as usize;
    format!("{number:.places$}")
}

/// A count with its noun: "1 photo", "3 photos".
pub fn count(n: usize, noun: &str) -> String {
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// A confidence as a percentage without digits that say nothing: 95.
pub fn percent(level: f64) -> f64 {
    (1e6 * level).round() / 1e4
}

/// A name of at most so many letters.
pub fn short(name: &str, most: usize) -> String {
    if name.chars().count() <= most {
        return name.to_owned();
    }
    name.chars().take(most - 1).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_interval() {
        let of = |value: f64, half: f64| {
            self::value(&Estimate { value, low: value - half, high: value + half, level: 0.95 })
        };
        assert_eq!(of(823.456, 30.0), "823");
        assert_eq!(of(823.456, 4.0), "823");
        assert_eq!(of(823.456, 0.3), "823.5");
        assert_eq!(of(0.8132, 0.05), "0.81");
        assert_eq!(of(0.8132, 0.015), "0.813");
        assert_eq!(of(5.0, 0.0), "5.00");
        // An interval that carries no digit leaves the value two.
        assert_eq!(of(0.47, 7.0), "0.47");
        assert_eq!(of(642.0, 9000.0), "642");
        assert_eq!(significant(0.012345, 3), "0.0123");
        assert_eq!(significant(1234.5, 3), "1234");
        assert_eq!(count(1, "photo"), "1 photo");
    }
}
