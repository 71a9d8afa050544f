//! The milestones of a season that people are told of.

/// What people are told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Milestone {
    /// Adults leave the soil.
    AdultFlight,
    /// Females lay eggs.
    EggLay,
    /// First larvae hatch.
    Hatch,
    /// End of the susceptible early-instar window: about half the larvae are in the third instar.
    WindowEnd,
}

impl Milestone {
    /// All milestones in the order of the season.
    pub const ALL: [Milestone; 4] = [
        Milestone::AdultFlight,
        Milestone::EggLay,
        Milestone::Hatch,
        Milestone::WindowEnd,
    ];

    /// Every milestone with the name it has in the store and in configuration files.
    pub const NAMED: [(&'static str, Milestone); 4] = [
        ("adult-flight", Milestone::AdultFlight),
        ("egg-lay", Milestone::EggLay),
        ("hatch", Milestone::Hatch),
        ("window-end", Milestone::WindowEnd),
    ];

    /// The name in the store and in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The milestone a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }

    /// What it is called in text.
    pub fn title(self) -> &'static str {
        match self {
            Milestone::AdultFlight => "adult flight",
            Milestone::EggLay => "egg lay",
            Milestone::Hatch => "hatch",
            Milestone::WindowEnd => "end of the susceptible window",
        }
    }

    /// What it is called where space is short.
    pub fn short_title(self) -> &'static str {
        match self {
            Milestone::AdultFlight => "flight",
            Milestone::EggLay => "egg lay",
            Milestone::Hatch => "hatch",
            Milestone::WindowEnd => "window ends",
        }
    }

    /// The milestone after this one.
    pub fn next(self) -> Option<Self> {
        let position = Self::ALL.iter().position(|m| *m == self)?;
        Self::ALL.get(position + 1).copied()
    }
}
