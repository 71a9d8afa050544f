//! A number with the range it is known to, where it comes from and how solid it is.

/// How solid a number is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum EvidenceGrade {
    /// Read in a published text.
    Published,
    /// From a handbook table, possibly recalled rather than re-read; the source says so.
    Handbook,
    /// Set or moved by observation at the site itself.
    Local,
    /// Common practice without a single source.
    Practice,
    /// Derived by arithmetic from other numbers; to be replaced by local observation.
    Estimate,
}

impl EvidenceGrade {
    /// Every grade with the name it has in configuration files.
    pub const NAMED: [(&'static str, EvidenceGrade); 5] = [
        ("published", EvidenceGrade::Published),
        ("handbook", EvidenceGrade::Handbook),
        ("local", EvidenceGrade::Local),
        ("practice", EvidenceGrade::Practice),
        ("estimate", EvidenceGrade::Estimate),
    ];

    /// The name in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// What a reader of an alert needs to know about a number of this grade.
    pub fn in_words(self) -> &'static str {
        match self {
            EvidenceGrade::Published => "from published values",
            EvidenceGrade::Handbook => "a handbook value, recalled and not re-read",
            EvidenceGrade::Local => "set by observation at this site",
            EvidenceGrade::Practice => "common practice, no source",
            EvidenceGrade::Estimate => "an estimate, not a published value",
        }
    }
}

/// A number with its range. The unit is that of the place it stands in.
#[derive(Debug, Clone, PartialEq)]
pub struct SourcedValue {
    /// Default.
    pub value: f64,
    /// Low and high end of the range; absent where no source gives one.
    pub range: Option<(f64, f64)>,
    /// How solid it is.
    pub grade: EvidenceGrade,
    /// Where it comes from.
    pub source: String,
}

/// Standard normal quantile at 0.9.
pub const NORMAL_90: f64 = 1.281552;

/// Standard normal quantiles at (i + 0.5) / 9.
pub const NINE_NORMAL: [f64; 9] = [
    -1.593219, -0.967422, -0.589456, -0.282216, 0.0, 0.282216, 0.589456, 0.967422, 1.593219,
];

impl SourcedValue {
    /// Nine equally likely points of a distribution whose 10, 50 and 90 % points are the low end,
    /// the value and the high end (two half normals); one point if there is no range.
    pub fn points(&self) -> Vec<f64> {
        let Some((low, high)) = self.range else {
            return vec![self.value];
        };
        NINE_NORMAL
            .iter()
            .map(|z| {
                let side = if *z < 0.0 {
                    self.value - low
                } else {
                    high - self.value
                };
                (self.value + z / NORMAL_90 * side).max(0.1)
            })
            .collect()
    }
}
