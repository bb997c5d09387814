use super::fields::{Fields, nearest};

/// Names of one kind, for what refers to them.
pub(super) struct Names {
    kind: &'static str,
    names: Vec<(String, usize)>,
}

impl Names {
    pub fn new(kind: &'static str) -> Self {
        Names { kind, names: Vec::new() }
    }

    /// Takes the name of `fields`; a second one of the same name is a mistake.
    pub fn add(&mut self, fields: &Fields<'_>, example: &str) -> String {
        let Some(name) = fields.needed_text("name", example) else {
            // A place of its own, so that the numbers of the others stay what they are.
            self.names.push((String::new(), fields.line));
            return String::new();
        };
        if let Some((_, line)) = self.names.iter().find(|(n, _)| *n == name) {
            fields.wrong(
                "name",
                format!("the name \"{name}\" stands on line {line} already: give each {} its own", self.kind),
            );
        }
        self.names.push((name.clone(), fields.line_of("name")));
        name
    }

    /// Place of the name in `fields.field`, which must be there.
    pub fn link(&self, fields: &Fields<'_>, field: &'static str) -> Option<usize> {
        let example = self.names.iter().map(|(n, _)| n.as_str()).find(|n| !n.is_empty()).unwrap_or("NAME");
        let name = fields.needed_text(field, example)?;
        self.find(&name, fields, fields.line_of(field), field)
    }

    /// Place of `name`, which stands on `line` in `field`.
    pub fn find(&self, name: &str, fields: &Fields<'_>, line: usize, field: &str) -> Option<usize> {
        let found = self.names.iter().position(|(n, _)| n == name);
        if found.is_none() {
            let known: Vec<&str> = self.names.iter().map(|(n, _)| n.as_str()).filter(|n| !n.is_empty()).collect();
            let meant = match (nearest(name, known.iter().copied()), known.is_empty()) {
                (Some(near), _) => format!("write \"{near}\", if that is meant"),
                (None, true) => format!("there is none yet: add a [[{}]] of this name", self.kind),
                (None, false) => format!("there are {}", known.join(", ")),
            };
            // The name may stand in a line that cannot be read.
            fields.reader.missing(line, format!("{field} = \"{name}\": no {} has this name: {meant}", self.kind));
        }
        found
    }
}
