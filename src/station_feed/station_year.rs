//! A station's values of a year, packed: a slot of two bytes for each day.

/// Days a year can have.
pub const SLOTS: usize = 366;
/// A slot of which nothing is known.
pub const UNKNOWN: i16 = i16::MIN;
/// A slot whose value has failed its publisher's quality check.
pub const FAILED: i16 = i16::MIN + 1;

/// A station's values of one element and year by day of the year, tenths of °C or of mm.
pub type YearPage = [i16; SLOTS];

/// What is packed, in the order of [`StationYear::pages`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packed {
    /// The daily maximum.
    Max,
    /// The daily minimum.
    Min,
    /// Rain.
    Rain,
}

impl Packed {
    /// Every element with the name it has in the database.
    pub const NAMED: [(&'static str, Packed); 3] = [
        ("max", Packed::Max),
        ("min", Packed::Min),
        ("rain", Packed::Rain),
    ];
}

/// A station's values of a year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StationYear {
    /// The station's code.
    pub code: String,
    /// The year.
    pub year: i32,
    /// A page for each of [`Packed::NAMED`] that the file has.
    pub pages: [Option<Box<YearPage>>; 3],
}
