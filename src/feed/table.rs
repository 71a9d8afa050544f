//! Bytes into rows: everything that can be wrong with a file before its numbers are looked at.

use super::Rejection;
use super::dialect::{Column, Dialect, Header};
use csv::ByteRecord;

/// A CSV file with its header understood.
pub struct Table<'b> {
    reader: csv::Reader<&'b [u8]>,
    header: Option<Vec<String>>,
    /// The first row of a file that turned out to have no header.
    first: Option<ByteRecord>,
    width: usize,
    last_line: u64,
}

/// A row with its line number, counted from 1.
pub struct Row {
    /// Line in the file.
    pub line: u64,
    record: ByteRecord,
}

impl Row {
    /// A field without surrounding blanks, as text; bytes that are no UTF-8 are replaced.
    pub fn field(&self, index: usize) -> std::borrow::Cow<'_, str> {
        String::from_utf8_lossy(self.record.get(index).unwrap_or_default().trim_ascii())
    }
}

/// Opens a file as a table.
///
/// # Errors
/// [`Rejection`] for an empty file, a page or archive instead of CSV, a file cut off in mid-line,
/// or a missing header.
pub fn open<'b>(bytes: &'b [u8], dialect: &Dialect) -> Result<Table<'b>, Rejection> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    refuse_what_is_no_csv(bytes)?;
    let lines = bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
    if bytes.last() != Some(&b'\n') {
        return Err(Rejection::at(
            lines + 1,
            "the file stops in mid-line, so it was cut off on the way or is still being written",
            "nothing of it was used; it is asked for again. If you saved this file yourself, end it with a line end",
        ));
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(dialect.delimiter)
        .from_reader(bytes);
    let mut record = ByteRecord::new();
    if !read(&mut reader, &mut record)? {
        return Err(empty());
    }
    let width = record.len();
    let is_header = match dialect.header {
        Header::Required => true,
        Header::Absent => false,
        Header::Optional => !starts_with_data(&record, dialect),
    };
    let header = is_header.then(|| {
        record
            .iter()
            .map(|name| String::from_utf8_lossy(name.trim_ascii()).into_owned())
            .collect()
    });
    Ok(Table {
        reader,
        header,
        first: (!is_header).then_some(record),
        width,
        last_line: lines,
    })
}

impl Table<'_> {
    /// Where a column is, if this file has it.
    pub fn find(&self, column: &Column) -> Option<usize> {
        let Some(header) = &self.header else {
            return column.position.filter(|position| *position < self.width);
        };
        column.names.iter().find_map(|name| {
            header
                .iter()
                .position(|field| field.eq_ignore_ascii_case(name))
        })
    }

    /// Where a column is that the file must have.
    ///
    /// # Errors
    /// [`Rejection`] that lists what is needed and what is there.
    pub fn need(&self, column: &Column, what: &str) -> Result<usize, Rejection> {
        self.find(column).ok_or_else(|| {
            let found = match &self.header {
                Some(header) => shorten(&header.join(", ")),
                None => format!("{} unnamed columns", self.width),
            };
            Rejection::at(
                1,
                format!(
                    "no column for the {what} ({}); the first line has: {found}",
                    match column.position {
                        Some(position) if self.header.is_none() =>
                            format!("column {}", position + 1),
                        _ => column.names.join(" or "),
                    }
                ),
                "this is not a daily file of this dialect: check the address and the station's dialect",
            )
        })
    }

    /// The next row, or `None` at the end.
    ///
    /// # Errors
    /// [`Rejection`] for a last row that is too short (a file cut off) and for broken quoting.
    pub fn next_row(&mut self) -> Result<Option<Row>, Rejection> {
        let record = match self.first.take() {
            Some(record) => record,
            None => {
                let mut record = ByteRecord::new();
                if !read(&mut self.reader, &mut record)? {
                    return Ok(None);
                }
                record
            }
        };
        let line = record.position().map_or(1, csv::Position::line);
        if line >= self.last_line && record.len() < self.width {
            return Err(Rejection::at(
                line,
                format!(
                    "the last row has {} of {} fields, so the file was cut off",
                    record.len(),
                    self.width
                ),
                "nothing of it was used; it is asked for again",
            ));
        }
        Ok(Some(Row { line, record }))
    }

    /// Whether a row has as many fields as the first one.
    pub fn is_whole(&self, row: &Row) -> bool {
        row.record.len() == self.width
    }

    /// Fields in the first row.
    pub fn width(&self) -> usize {
        self.width
    }
}

fn read(reader: &mut csv::Reader<&[u8]>, record: &mut ByteRecord) -> Result<bool, Rejection> {
    reader.read_byte_record(record).map_err(|error| {
        let line = error.position().map(csv::Position::line);
        Rejection {
            line,
            ..Rejection::whole(
                format!("this is not CSV: {error}"),
                "look at the file by hand",
            )
        }
    })
}

fn empty() -> Rejection {
    Rejection::whole(
        "the body is empty",
        "check the address; a service sometimes answers an unknown station with nothing",
    )
}

fn refuse_what_is_no_csv(bytes: &[u8]) -> Result<(), Rejection> {
    let start = bytes.trim_ascii_start();
    if start.is_empty() {
        return Err(empty());
    }
    let quoted = || shorten(&String::from_utf8_lossy(&start[..start.len().min(200)]));
    match start[0] {
        b'<' => Err(Rejection::at(
            1,
            format!("this is a web page, not CSV: {}", quoted()),
            "open the address in a browser: the service may have moved, want a login, or be down",
        )),
        b'{' | b'[' => Err(Rejection::at(
            1,
            format!("this is JSON, not CSV: {}", quoted()),
            "ask the service for CSV (often format=csv), or read the message",
        )),
        _ if start.starts_with(b"PK\x03\x04") => Err(Rejection::whole(
            "this is a zip archive, not CSV",
            "unpack it first and name the CSV file",
        )),
        _ if start[..start.len().min(4096)].contains(&0) => Err(Rejection::whole(
            "this is a binary file, not CSV",
            "check the address",
        )),
        _ => Ok(()),
    }
}

/// A first row whose date column holds a date is data.
fn starts_with_data(record: &ByteRecord, dialect: &Dialect) -> bool {
    let position = dialect.columns.date.position.unwrap_or(0);
    let field = String::from_utf8_lossy(record.get(position).unwrap_or_default().trim_ascii());
    super::parse::parse_date(&field, &dialect.date_formats).is_some()
}

/// At most about a line of text, for messages.
fn shorten(text: &str) -> String {
    const MOST: usize = 100;
    let line = text.lines().next().unwrap_or("").trim();
    if line.chars().count() <= MOST {
        line.to_owned()
    } else {
        line.chars().take(MOST).chain("…".chars()).collect()
    }
}
