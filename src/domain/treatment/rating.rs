//! Words for a day: how much of what an option's own best day meets it would meet.

/// A day is good from this share of what the option's best day meets on. A choice.
pub const GOOD: f64 = 0.9;

/// A day is fair from this share on, and poor below it. A choice: half of what is possible.
pub const FAIR: f64 = 0.5;

/// What a day is worth for an option.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rating {
    /// Less than half of what the best day meets.
    Poor,
    /// Half of it or more.
    Fair,
    /// Nine tenths of it or more.
    Good,
}

impl Rating {
    /// Every rating with its name.
    pub const NAMED: [(&'static str, Rating); 3] = [
        ("good", Rating::Good),
        ("fair", Rating::Fair),
        ("poor", Rating::Poor),
    ];

    /// The name.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// Of a share of what the best day meets, 0 to 1.
    ///
    /// ```
    /// use hatchbell::domain::treatment::rating::Rating;
    ///
    /// assert_eq!(Rating::of(0.9), Rating::Good);
    /// assert_eq!(Rating::of(0.89), Rating::Fair);
    /// assert_eq!(Rating::of(0.5), Rating::Fair);
    /// assert_eq!(Rating::of(0.49), Rating::Poor);
    /// ```
    pub fn of(share_of_best: f64) -> Self {
        if share_of_best >= GOOD {
            Rating::Good
        } else if share_of_best >= FAIR {
            Rating::Fair
        } else {
            Rating::Poor
        }
    }
}
