/// What happened to a particle's figures. Undefined is absent and flagged, never 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flags(u8);

impl Flags {
    /// Parted from a group of touching particles.
    pub const SPLIT: Flags = Flags(1);
    /// Smaller than the smallest size at which this photo shows 95 % of all particles.
    pub const BELOW_LIMIT: Flags = Flags(2);
    /// Too small for an outline: the size comes from the integrated deficit.
    pub const INTEGRATED: Flags = Flags(4);

    /// Far paler than the photo's large particles: chaff, most likely.
    pub const PALE: Flags = Flags(8);

    /// Bit, name in files, sentence: the one list of flags.
    pub const ALL: [(Flags, &'static str, &'static str); 4] = [
        (Flags::SPLIT, "split", "parted from a group of touching particles"),
        (Flags::BELOW_LIMIT, "below_limit", "smaller than this photo shows reliably"),
        (Flags::INTEGRATED, "integrated", "too small for an outline; sized by its integrated deficit"),
        (Flags::PALE, "pale", "far paler than the others, as chaff is"),
    ];

    /// Adds a flag.
    pub fn insert(&mut self, flag: Flags) {
        self.0 |= flag.0;
    }

    /// True when `flag` is set.
    pub fn contains(self, flag: Flags) -> bool {
        self.0 & flag.0 == flag.0
    }

    /// Flags from names joined by `|`, as [`Flags::names`] gives them; the first unknown name is the error.
    pub fn parse(names: &str) -> Result<Self, String> {
        let mut flags = Flags::default();
        for name in names.split('|').map(str::trim).filter(|n| !n.is_empty()) {
            let known = Flags::ALL.iter().find(|(_, known, _)| *known == name);
            flags.insert(known.ok_or_else(|| name.to_owned())?.0);
        }
        Ok(flags)
    }

    /// Names of the set flags, joined by `|`.
    pub fn names(self) -> String {
        let set: Vec<&str> = Flags::ALL.iter().filter(|(f, ..)| self.contains(*f)).map(|(_, name, _)| *name).collect();
        set.join("|")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_join_by_name() {
        let mut flags = Flags::default();
        assert_eq!(flags.names(), "");
        flags.insert(Flags::INTEGRATED);
        flags.insert(Flags::SPLIT);
        assert_eq!(flags.names(), "split|integrated");
        assert_eq!(Flags::parse(&flags.names()), Ok(flags));
        assert_eq!(Flags::parse("split|new"), Err("new".to_owned()));
        assert!(!flags.contains(Flags::BELOW_LIMIT));
    }
}
