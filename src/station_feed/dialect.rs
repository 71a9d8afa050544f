//! How a kind of feed file is laid out. The dialects themselves are data, in
//! `config/dialects/*.toml`.

use crate::domain::weather::extremes::Unit;
use crate::domain::weather::wind::WindUnit;

/// What a row of a file stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// One row a day, a column for each extreme.
    RowADay,
    /// One row a value, with a column that names the element.
    RowAValue,
}

impl Layout {
    /// Every layout with the name it has in dialect files.
    pub const NAMED: [(&'static str, Layout); 2] = [
        ("row-a-day", Layout::RowADay),
        ("row-a-value", Layout::RowAValue),
    ];
}

/// Whether a file starts with a header row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Header {
    /// Always.
    Required,
    /// With or without; without, columns are found by position.
    Optional,
    /// Never; columns are found by position.
    Absent,
}

impl Header {
    /// Every form with the name it has in dialect files.
    pub const NAMED: [(&'static str, Header); 3] = [
        ("required", Header::Required),
        ("optional", Header::Optional),
        ("absent", Header::Absent),
    ];
}

/// Where a column is found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Column {
    /// Names it goes by in a header, compared without regard to case.
    pub names: Vec<String>,
    /// Its position without a header, counted from 0.
    pub position: Option<usize>,
}

impl Column {
    /// Whether the dialect has such a column at all.
    pub fn exists(&self) -> bool {
        !self.names.is_empty() || self.position.is_some()
    }
}

/// The columns hatchbell looks at. Which of them must exist depends on the layout.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Columns {
    /// The station's own code.
    pub station: Column,
    /// The day.
    pub date: Column,
    /// The day's year, in files that spread it over three columns.
    pub year: Column,
    /// Its month.
    pub month: Column,
    /// Its day of the month.
    pub day: Column,
    /// Maximum (a row a day).
    pub tmax: Column,
    /// Minimum (a row a day).
    pub tmin: Column,
    /// Flags of the maximum (a row a day).
    pub tmax_flags: Column,
    /// Flags of the minimum (a row a day).
    pub tmin_flags: Column,
    /// Rain (a row a day).
    pub rain: Column,
    /// Flags of the rain (a row a day).
    pub rain_flags: Column,
    /// Highest wind speed (a row a day, forecasts only).
    pub wind: Column,
    /// Name of the element (a row a value).
    pub element: Column,
    /// Its value (a row a value).
    pub value: Column,
    /// Its quality flag (a row a value).
    pub quality: Column,
}

/// What the elements are called in the element column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Elements {
    /// The maximum.
    pub tmax: String,
    /// The minimum.
    pub tmin: String,
    /// Rain, where the file has it.
    pub rain: Option<String>,
}

/// How the bytes of a file stand for letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without a byte order mark.
    Utf8,
    /// ISO 8859-1, where the bytes are not UTF-8 anyway.
    Latin1,
}

impl Encoding {
    /// Every encoding with the name it has in dialect files.
    pub const NAMED: [(&'static str, Encoding); 2] =
        [("utf-8", Encoding::Utf8), ("latin-1", Encoding::Latin1)];
}

/// Which quality flags mean that a value has failed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FlagRule {
    /// Any that is not blank.
    AnyIsBad,
    /// These; all others are fine.
    Bad(Vec<String>),
    /// All but these.
    Good(Vec<String>),
}

/// What a row must say in a column to count as a day's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowCondition {
    /// The column; a file without it is refused.
    pub column: Column,
    /// What may stand there; numbers are compared as numbers.
    pub is: Vec<String>,
    /// What becomes of a row that says something else.
    pub otherwise: Otherwise,
}

/// What becomes of a row that does not meet a [`RowCondition`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Otherwise {
    /// It is refused and reported: such rows are few and each is a loss.
    Refuse,
    /// It is passed over in silence: the file rightly holds rows of other kinds.
    PassOver,
}

impl Otherwise {
    /// Every choice with the name it has in dialect files.
    pub const NAMED: [(&'static str, Otherwise); 2] = [
        ("refuse", Otherwise::Refuse),
        ("pass-over", Otherwise::PassOver),
    ];
}

/// A kind of feed file.
#[derive(Debug, Clone, PartialEq)]
pub struct Dialect {
    /// Identifier, for example `ghcn-access`.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// What a row stands for.
    pub layout: Layout,
    /// Whether there is a header.
    pub header: Header,
    /// What the first field of the header is called, for files with lines before it; empty where
    /// the header is the first line.
    pub header_starts_with: Vec<String>,
    /// Lines before the header or the first row that are always there and never looked at.
    pub skip_lines: u32,
    /// The line after the last row, for files that mark their end; one without it was cut off.
    pub ends_with: Option<String>,
    /// How bytes stand for letters.
    pub encoding: Encoding,
    /// Which file of a zip archive holds the rows, `*` standing for anything; `None` where an
    /// archive is not expected.
    pub zip_member: Option<String>,
    /// Field separator.
    pub delimiter: u8,
    /// Forms a date may have, in chrono's notation.
    pub date_formats: Vec<String>,
    /// Whether the decimal sign is a comma.
    pub decimal_comma: bool,
    /// Units the feed may come in.
    pub units: Vec<Unit>,
    /// Spellings of "no value".
    pub missing: Vec<String>,
    /// Where the columns are.
    pub columns: Columns,
    /// Spellings of rain too little to measure, which counts as none.
    pub rain_trace: Vec<String>,
    /// The unit of the wind, where its column's name tells none.
    pub wind_unit: Option<WindUnit>,
    /// Which comma-separated part of a flags field is the quality flag, counted from 0; `None`
    /// where the field is the flag.
    pub quality_part: Option<usize>,
    /// Which flags mean that a value has failed.
    pub flag_rule: FlagRule,
    /// What a row must say to count.
    pub conditions: Vec<RowCondition>,
    /// Whether a file may hold only one of the two extremes.
    pub either_extreme: bool,
    /// The newest days that are still moving and are left out, counted back from today (UTC): 1
    /// leaves out today and what lies ahead.
    pub provisional_days: u32,
    /// Whether such files are brought by hand: a station without an address is fed by `import`.
    pub import_only: bool,
    /// Whether it is a model's forecast and no station's record.
    pub model: bool,
    /// How many days behind today such a feed's newest day usually is.
    pub usual_lag_days: Option<u32>,
    /// What the owner of a station should know, in a sentence or two.
    pub advice: Option<String>,
    /// What the element column says (a row a value).
    pub elements: Option<Elements>,
}

/// A dialect bound to one station: what the file itself does not say.
#[derive(Debug, Clone, PartialEq)]
pub struct Binding {
    /// How the file is laid out.
    pub dialect: Dialect,
    /// The unit its temperatures come in.
    pub unit: Unit,
    /// The station's code in the file, for files that may hold several.
    pub code: Option<String>,
    /// Latitude of a site that the station stands for, degrees: tells which temperatures a month
    /// can have.
    pub latitude: Option<f64>,
}

/// A station's code as it is known: some exports put the name of their data set before it
/// (`GHCND:USW00094728`), which people copy.
pub fn plain_code(code: &str) -> &str {
    code.strip_prefix("GHCND:").unwrap_or(code)
}

/// Units as the configuration names them, for messages.
pub fn in_words(units: &[Unit]) -> String {
    let names: Vec<&str> = units.iter().map(|unit| unit.name()).collect();
    names.join(" or ")
}
