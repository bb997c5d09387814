use std::cell::RefCell;
use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::Mistake;

/// A name is taken for a slip of another from this likeness on (Jaro–Winkler, 0..1).
const LIKENESS: f64 = 0.8;

/// The text being read, and what was found wrong so far.
pub(super) struct Reader<'t> {
    text: &'t str,
    mistakes: RefCell<Vec<Mistake>>,
    /// Lines that are no TOML, and whether what is missing may stand there.
    broken: Vec<usize>,
}

impl<'t> Reader<'t> {
    pub fn new(text: &'t str) -> Self {
        Reader { text, mistakes: RefCell::default(), broken: Vec::new() }
    }

    /// Takes note of what is no TOML.
    pub fn syntax(&mut self, errors: &[toml::de::Error]) {
        for error in errors {
            let line = self.line(error.span().map_or(0, |s| s.start));
            if self.broken.contains(&line) {
                continue;
            }
            let source = self.text.lines().nth(line - 1).unwrap_or_default();
            self.wrong(line, syntax(error.message(), source));
            self.broken.push(line);
        }
    }

    /// Line of a place in the text, from 1.
    pub fn line(&self, at: usize) -> usize {
        self.text.as_bytes().iter().take(at).filter(|b| **b == b'\n').count() + 1
    }

    pub fn wrong(&self, line: usize, text: String) {
        if !self.broken.contains(&line) {
            self.mistakes.borrow_mut().push(Mistake { line, text });
        }
    }

    /// Where lines are no TOML, what seems to be missing may stand in them.
    pub fn missing(&self, line: usize, text: String) {
        if self.broken.is_empty() {
            self.wrong(line, text);
        }
    }

    pub fn into_mistakes(self) -> Vec<Mistake> {
        let mut mistakes = self.mistakes.into_inner();
        mistakes.sort();
        mistakes.dedup();
        mistakes
    }
}

/// What is wrong with a line that is no TOML, in words.
fn syntax(message: &str, source: &str) -> String {
    let value = source.split_once('=').map_or("", |(_, v)| v).trim();
    let decimal_comma = value
        .split_once(',')
        .is_some_and(|(a, b)| !a.is_empty() && [a, b.trim()].iter().all(|p| p.chars().all(|c| c.is_ascii_digit())));
    if decimal_comma {
        return format!("`{}`: write decimals with a point: {}", source.trim(), value.replace(',', "."));
    }
    if message.contains("duplicate key") {
        return format!("`{}` stands here a second time: leave one out", source.split('=').next().unwrap_or("").trim());
    }
    let starts_text = value.chars().next().is_some_and(|c| c.is_alphabetic()) && !["true", "false"].contains(&value);
    if starts_text {
        return format!("`{}`: a text stands in quotes: \"{value}\"", source.trim());
    }
    if value.matches('"').count() % 2 == 1 {
        return format!("`{}`: a quote is open: put one at both ends of the text", source.trim());
    }
    if source.trim_start().starts_with('[') {
        return format!("`{}`: a heading stands in brackets of its own line: [[sample]]", source.trim());
    }
    format!("`{}` cannot be read ({message}): write NAME = VALUE", source.trim())
}

/// The known name that `name` is likely meant to be.
pub(super) fn nearest<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let like = |k: &str| strsim::jaro_winkler(&name.to_lowercase(), &k.to_lowercase());
    known.map(|k| (like(k), k)).filter(|(l, _)| *l >= LIKENESS).max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, k)| k)
}

/// A table of the file while its fields are read.
pub(super) struct Fields<'a> {
    pub reader: &'a Reader<'a>,
    /// How the table is headed, such as `[[sample]]`.
    what: String,
    /// Line of its heading.
    pub line: usize,
    table: &'a DeTable<'a>,
    known: RefCell<Vec<&'static str>>,
}

impl<'a> Fields<'a> {
    pub fn new(reader: &'a Reader<'a>, what: &str, at: usize, table: &'a DeTable<'a>) -> Self {
        Fields { reader, what: what.to_owned(), line: reader.line(at), table, known: RefCell::default() }
    }

    fn value(&self, name: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.known.borrow_mut().push(name);
        self.table.get(name)
    }

    /// Line of a field, or of the heading where it is missing.
    pub fn line_of(&self, name: &str) -> usize {
        self.table.get(name).map_or(self.line, |v| self.reader.line(v.span().start))
    }

    pub fn wrong(&self, name: &str, text: String) {
        self.reader.wrong(self.line_of(name), text);
    }

    pub fn has(&self, name: &str) -> bool {
        self.table.contains_key(name)
    }

    fn is_no(&self, name: &str, value: &DeValue<'_>, wanted: &str) {
        self.wrong(name, format!("{name} is {}: write {wanted}", kind(value)));
    }

    pub fn text(&self, name: &'static str) -> Option<String> {
        match self.value(name)?.get_ref() {
            DeValue::String(text) => Some(text.trim().to_owned()),
            other => {
                self.is_no(name, other, &format!("a text in quotes: {name} = \"…\""));
                None
            }
        }
    }

    /// A text that must be there; `example` is what one may write.
    pub fn needed_text(&self, name: &'static str, example: &str) -> Option<String> {
        if !self.has(name) {
            self.known.borrow_mut().push(name);
            self.missing(name, &format!("{name} = \"{example}\""));
            return None;
        }
        let text = self.text(name)?;
        if text.is_empty() {
            self.wrong(name, format!("{name} is empty: write {name} = \"{example}\""));
            return None;
        }
        Some(text)
    }

    fn missing(&self, name: &str, example: &str) {
        self.reader.missing(self.line, format!("{}: {name} is missing: add a line such as {example}", self.what));
    }

    pub fn flag(&self, name: &'static str) -> bool {
        match self.value(name).map(Spanned::get_ref) {
            None => false,
            Some(DeValue::Boolean(b)) => *b,
            Some(other) => {
                self.is_no(name, other, &format!("{name} = true or {name} = false"));
                false
            }
        }
    }

    /// A number within `range`; `example` is what one may write.
    pub fn number(&self, name: &'static str, range: RangeInclusive<f64>, example: f64) -> Option<f64> {
        let value = self.value(name)?.get_ref();
        let Some(number) = plain(value) else {
            self.is_no(name, value, &format!("a number without quotes: {name} = {example}"));
            return None;
        };
        if !range.contains(&number) {
            let (low, high) = (range.start(), range.end());
            let text = format!("{name} = {number} must lie between {low} and {high}: write {name} = {example}, say");
            self.wrong(name, text);
            return None;
        }
        Some(number)
    }

    /// The same where it must be there.
    pub fn needed(&self, name: &'static str, range: RangeInclusive<f64>, example: f64) -> Option<f64> {
        if !self.has(name) {
            self.known.borrow_mut().push(name);
            self.missing(name, &format!("{name} = {example}"));
            return None;
        }
        self.number(name, range, example)
    }

    /// A whole number that must be there.
    pub fn count(&self, name: &'static str, most: u32, example: u32) -> Option<u32> {
        let number = self.needed(name, 0.0..=f64::from(most), f64::from(example))?;
        if number.fract() != 0.0 {
            self.wrong(name, format!("{name} = {number} is no whole number: write {name} = {example}, say"));
            return None;
        }
        Some(number as u32)
    }

    /// Texts of an array with their lines; a single text stands for an array of one.
    pub fn texts(&self, name: &'static str, example: &str) -> Vec<(String, usize)> {
        let Some(value) = self.value(name) else { return Vec::new() };
        let items: Vec<&Spanned<DeValue<'_>>> = match value.get_ref() {
            DeValue::Array(items) => items.iter().collect(),
            _ => vec![value],
        };
        let mut texts = Vec::new();
        for item in items {
            let line = self.reader.line(item.span().start);
            match item.get_ref() {
                DeValue::String(text) => texts.push((text.trim().to_owned(), line)),
                other => self.reader.wrong(line, format!("{name} holds {}: write {name} = {example}", kind(other))),
            }
        }
        texts
    }

    /// Two numbers.
    pub fn pair(&self, name: &'static str, example: &str) -> Option<[f64; 2]> {
        let value = self.value(name)?.get_ref();
        let numbers: Option<Vec<f64>> = match value {
            DeValue::Array(items) => items.iter().map(|i| plain(i.get_ref())).collect(),
            _ => None,
        };
        let pair = numbers.and_then(|n| <[f64; 2]>::try_from(n).ok());
        if pair.is_none() {
            self.wrong(name, format!("{name} takes two numbers in brackets: {name} = {example}"));
        }
        pair
    }

    /// Pairs of a table: key and number, each with its line.
    pub fn masses(&self, name: &'static str, example: &str) -> Vec<(String, f64, usize)> {
        let Some(value) = self.value(name) else { return Vec::new() };
        let DeValue::Table(table) = value.get_ref() else {
            self.wrong(name, format!("{name} is {}: write {name} = {example}", kind(value.get_ref())));
            return Vec::new();
        };
        let mut masses = Vec::new();
        for (key, value) in table {
            let line = self.reader.line(key.span().start);
            match plain(value.get_ref()) {
                Some(mass) => masses.push((key.get_ref().to_string(), mass, line)),
                None => self.reader.wrong(
                    line,
                    format!("{name}: {key} is no number of grams: write {name} = {example}", key = key.get_ref()),
                ),
            }
        }
        masses
    }

    /// The table `name`.
    pub fn table(&self, name: &'static str) -> Option<Fields<'a>> {
        let value = self.value(name)?;
        match value.get_ref() {
            DeValue::Table(table) => Some(Fields::new(self.reader, &format!("[{name}]"), value.span().start, table)),
            DeValue::Array(_) => {
                self.wrong(name, format!("[[{name}]] stands once only: write [{name}] with single brackets"));
                None
            }
            other => {
                self.is_no(name, other, &format!("a heading [{name}] with its fields below it"));
                None
            }
        }
    }

    /// All tables `[[name]]`.
    pub fn tables(&self, name: &'static str) -> Vec<Fields<'a>> {
        let Some(value) = self.value(name) else { return Vec::new() };
        let what = format!("[[{name}]]");
        let items = match value.get_ref() {
            DeValue::Array(items) => items,
            _ => {
                self.wrong(name, format!("{name} is a list: head each with double brackets: [[{name}]]"));
                return Vec::new();
            }
        };
        let mut tables = Vec::new();
        for item in items {
            match item.get_ref() {
                DeValue::Table(table) => tables.push(Fields::new(self.reader, &what, item.span().start, table)),
                other => self.wrong(name, format!("{what} is {}: head each with {what}", kind(other))),
            }
        }
        tables
    }

    /// Names every field that was not asked for.
    pub fn finish(&self) {
        let known = self.known.borrow();
        for key in self.table.keys().filter(|k| !known.contains(&k.get_ref().as_ref())) {
            let name = key.get_ref().as_ref();
            let meant = match nearest(name, known.iter().copied()) {
                Some(near) => format!("write {near}, if that is meant"),
                None => format!("known are {}", known.join(", ")),
            };
            let line = self.reader.line(key.span().start);
            self.reader.wrong(line, format!("{}: {name} is unknown: {meant}", self.what));
        }
    }
}

fn plain(value: &DeValue<'_>) -> Option<f64> {
    let number: f64 = match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok()? as f64,
        DeValue::Float(f) => f.as_str().parse().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}

fn kind(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list in brackets",
        DeValue::Table(_) => "a table",
    }
}
