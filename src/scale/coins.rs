//! Coins of published diameter.

use super::disc::RoundObject;

/// Name, diameter and thickness in mm.
///
/// Sources: euro, Council Regulation (EC) No 975/98; US, United States Mint, "Coin Specifications"; UK, Royal Mint figures
/// as given in secondary tables (thickness of 1p, 2p and 10p from memory). Coins that are no circles (20 c, 20p, 50p, £1) are left out: their
/// area is not that of a disc of their diameter.
const COINS: [(&str, f64, f64); 19] = [
    ("euro-1c", 16.25, 1.67),
    ("euro-2c", 18.75, 1.67),
    ("euro-5c", 21.25, 1.67),
    ("euro-10c", 19.75, 1.93),
    ("euro-50c", 24.25, 2.38),
    ("euro-1", 23.25, 2.33),
    ("euro-2", 25.75, 2.20),
    ("us-cent", 19.05, 1.52),
    ("us-nickel", 21.21, 1.95),
    ("us-dime", 17.91, 1.35),
    ("us-quarter", 24.26, 1.75),
    ("us-half-dollar", 30.61, 2.15),
    ("us-dollar", 26.49, 2.00),
    ("uk-5p", 18.0, 1.7),
    ("uk-1p", 20.3, 1.65),
    ("uk-2p", 25.9, 2.03),
    ("uk-10p", 24.5, 1.85),
    ("uk-2pound", 28.4, 2.5),
    ("uk-crown", 38.61, 2.89),
];

/// The coin called `name`, for example `euro-1`.
pub fn coin(name: &str) -> Option<RoundObject> {
    let &(_, diameter_mm, thickness_mm) = COINS.iter().find(|c| c.0.eq_ignore_ascii_case(name))?;
    Some(RoundObject { diameter_mm, thickness_mm })
}

/// Names that [`coin`] knows.
pub fn coin_names() -> impl Iterator<Item = &'static str> {
    COINS.iter().map(|c| c.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: United States Mint, diameters in inches: 0.705, 0.750, 0.835, 0.955, 1.205 (1 inch = 25.4 mm).
    #[test]
    fn millimetres_are_inches_rounded() {
        for (name, inches) in [
            ("us-dime", 0.705),
            ("us-cent", 0.75),
            ("us-nickel", 0.835),
            ("us-quarter", 0.955),
            ("us-half-dollar", 1.205),
        ] {
            assert!((coin(name).unwrap().diameter_mm - 25.4 * inches).abs() < 0.0051, "{name}");
        }
        assert!(coin("uk-50p").is_none() && coin("EURO-2").is_some());
    }
}
