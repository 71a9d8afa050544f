//! What the people of a site would use: which options, and when preventives at all.

use crate::domain::treatment::option::TreatmentOption;

/// When a preventive is worth telling of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Preventives {
    /// Only where last year's counts or damage justify it.
    #[default]
    WhenJustified,
    /// Every year: a standing decision of the site's people.
    EveryYear,
    /// Never; only what follows a count.
    Never,
}

impl Preventives {
    /// Every policy with the name it has in configuration files.
    pub const NAMED: [(&'static str, Preventives); 3] = [
        ("when-justified", Preventives::WhenJustified),
        ("every-year", Preventives::EveryYear),
        ("never", Preventives::Never),
    ];

    /// The name in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

/// What the people of a site would use.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Choice {
    /// Options or groups they would use; `None` is every option that is not restricted.
    pub only: Option<Vec<String>>,
    /// Options or groups they would not use.
    pub without: Vec<String>,
    /// When a preventive is worth telling of.
    pub preventives: Preventives,
}

impl Choice {
    /// Whether they would use an option. One that is restricted or forbidden in many places is
    /// used only where it or its group is named.
    pub fn considers(&self, option: &TreatmentOption) -> bool {
        let named = |names: &[String]| {
            names
                .iter()
                .any(|name| *name == option.id || *name == option.group)
        };
        let wanted = match &self.only {
            Some(only) => named(only),
            None => !option.restricted,
        };
        wanted && !named(&self.without)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::option_file;

    fn considered(choice: &Choice) -> Vec<String> {
        option_file::BUILT_IN
            .iter()
            .map(|(file, text)| option_file::read(file, text).expect("it is sound"))
            .filter(|option| choice.considers(option))
            .map(|option| option.id)
            .collect()
    }

    fn names(names: &[&str]) -> Vec<String> {
        names.iter().map(|name| (*name).to_owned()).collect()
    }

    #[test]
    fn who_says_nothing_uses_nothing_that_is_restricted_in_many_places() {
        assert_eq!(
            considered(&Choice::default()),
            [
                "bacillus-thuringiensis-galleriae",
                "chlorantraniliprole",
                "heterorhabditis-bacteriophora",
                "metarhizium-brunneum"
            ]
        );
    }

    #[test]
    fn a_group_stands_for_its_options_and_what_is_left_out_stays_out() {
        let choice = Choice {
            only: Some(names(&["neonicotinoid", "trichlorfon"])),
            without: names(&["thiamethoxam"]),
            ..Choice::default()
        };
        assert_eq!(
            considered(&choice),
            ["clothianidin", "imidacloprid", "trichlorfon"]
        );
    }
}
