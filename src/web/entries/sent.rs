//! What a form holds: as it was sent, or as it is filled in beforehand.

/// The fields of a form with their values, in their order. A name may come several times.
#[derive(Debug, Clone, Default)]
pub(super) struct Sent(pub Vec<(String, String)>);

impl Sent {
    /// The value of a field, without blanks around it; empty if it is not there.
    pub fn one(&self, name: &str) -> &str {
        self.all(name).next().unwrap_or("")
    }

    /// All values of a name.
    pub fn all<'s, 'n>(&'s self, name: &'n str) -> impl Iterator<Item = &'s str> + use<'s, 'n> {
        self.0
            .iter()
            .filter(move |(one, _)| one == name)
            .map(|(_, value)| value.trim())
    }

    /// Whether a box is ticked.
    pub fn has(&self, name: &str) -> bool {
        !self.one(name).is_empty()
    }

    /// Fills a field in.
    pub fn fill(&mut self, name: impl Into<String>, value: impl Into<String>) {
        self.0.push((name.into(), value.into()));
    }

    /// Fills in an amount as it was stated, "0.2 kg/100 m²": its number, and its unit beside it.
    pub fn fill_amount(&mut self, name: &str, amount: &str) {
        let (number, unit) = amount.split_once(' ').unwrap_or((amount, ""));
        self.fill(name, number);
        self.fill(unit_of(name), unit);
    }

    /// An amount as a text with its unit; `None` if there is no number.
    pub fn amount(&self, name: &str) -> Option<String> {
        let number = self.one(name);
        (!number.is_empty()).then(|| format!("{number} {}", self.one(&unit_of(name))))
    }
}

/// The name of the field that holds the unit of another.
pub(super) fn unit_of(name: &str) -> String {
    format!("{name}_unit")
}
