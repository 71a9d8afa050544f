//! Bytes into rows: everything that can be wrong with a file before its numbers are looked at.

use super::Rejection;
use super::limits::{check_columns, check_rows, long_row};
use super::metered::{BUFFER, Metered};
use crate::station_feed::dialect::{Column, Dialect, Header};
use csv::ByteRecord;

/// A CSV file with its header understood.
pub struct Table<'b> {
    reader: csv::Reader<Metered<'b>>,
    /// Rows so far.
    rows: u64,
    header: Option<Vec<String>>,
    /// The first row of a file that turned out to have no header.
    first: Option<ByteRecord>,
    width: usize,
    last_line: u64,
    /// The file from the header on.
    body: &'b [u8],
    /// Lines before that.
    skipped: u64,
    /// The line of the first record: the header, if there is one.
    header_line: u64,
}

/// A row with its line number, counted from 1.
pub struct Row {
    /// Line in the file.
    pub line: u64,
    record: ByteRecord,
}

impl Row {
    /// How many fields it has.
    pub fn width(&self) -> usize {
        self.record.len()
    }

    /// A field without surrounding blanks, as text; bytes that are no UTF-8 are replaced.
    pub fn field(&self, index: usize) -> std::borrow::Cow<'_, str> {
        String::from_utf8_lossy(self.record.get(index).unwrap_or_default().trim_ascii())
    }
}

/// Opens a file as a table.
///
/// # Errors
/// [`Rejection`] for an empty file, a page or archive instead of CSV, a file cut off in mid-line,
/// a missing header, or one that is longer or wider than [`super::limits`] allow.
pub fn open<'b>(bytes: &'b [u8], dialect: &Dialect) -> Result<Table<'b>, Rejection> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    refuse_what_is_no_csv(bytes)?;
    let bytes = up_to_end(bytes, dialect)?;
    let lines = bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
    if bytes.last() != Some(&b'\n') {
        return Err(Rejection::at(
            lines + 1,
            "the file stops in mid-line, so it was cut off on the way or is still being written",
            "nothing of it was used; it is asked for again. If you saved this file yourself, end it with a line end",
        ));
    }
    let skipped = lines_before_header(bytes, dialect)?;
    let body = after_lines(bytes, skipped);
    refuse_second_table(body, skipped, dialect)?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(dialect.delimiter)
        .buffer_capacity(BUFFER)
        .from_reader(Metered::new(body));
    let mut record = ByteRecord::new();
    if !read(&mut reader, &mut record, skipped)? {
        return Err(empty());
    }
    let width = record.len();
    let header_line = line_of(&record, body, skipped);
    check_columns(header_line, width)?;
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
        rows: 0,
        header,
        first: (!is_header).then_some(record),
        width,
        last_line: lines,
        body,
        skipped,
        header_line,
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

    /// The line of the header; without one, of the first row.
    pub fn header_line(&self) -> u64 {
        self.header_line
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
                self.header_line,
                format!(
                    "no column for the {what} ({}); the line has: {found}",
                    match column.position {
                        Some(position) if self.header.is_none() =>
                            format!("column {}", position + 1),
                        _ => column.names.join(" or "),
                    }
                ),
                self.another_delimiter().unwrap_or_else(|| {
                    "this is not a daily file of this dialect: check the address and the station's dialect".to_owned()
                }),
            )
        })
    }

    /// What to do about a header that is a single field, because its fields are separated otherwise.
    fn another_delimiter(&self) -> Option<String> {
        let [only] = self.header.as_deref()? else {
            return None;
        };
        let usual = [(';', "semicolons"), ('\t', "tabs"), (',', "commas")];
        let (_, name) = usual.into_iter().find(|(one, _)| only.contains(*one))?;
        Some(format!(
            "its fields are separated by {name}, as a spreadsheet may have saved them: take the file as it is served, or write a dialect of your own with that delimiter"
        ))
    }

    /// The next row, or `None` at the end.
    ///
    /// # Errors
    /// [`Rejection`] for a last row that is too short (a file cut off), for broken quoting, and for
    /// more or longer rows than [`super::limits`] allow.
    pub fn next_row(&mut self) -> Result<Option<Row>, Rejection> {
        let record = match self.first.take() {
            Some(record) => record,
            None => {
                let mut record = ByteRecord::new();
                if !read(&mut self.reader, &mut record, self.skipped)? {
                    return Ok(None);
                }
                record
            }
        };
        let line = line_of(&record, self.body, self.skipped);
        self.rows += 1;
        check_rows(line, self.rows)?;
        if record.len() != self.width && record.iter().any(|field| field.contains(&b'\n')) {
            return Err(Rejection::at(
                line,
                "a quote is opened and not closed on its line, so the rows after it are lost in it",
                "nothing of the file was used; look at the line by hand",
            ));
        }
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

    /// What a column is called in the header, if there is one.
    pub fn name_of(&self, index: usize) -> Option<&str> {
        self.header.as_ref()?.get(index).map(String::as_str)
    }

    /// Every name in the header, in order; without a header as many blank ones as there are columns.
    pub fn names(&self) -> Vec<String> {
        match &self.header {
            Some(header) => header.clone(),
            None => vec![String::new(); self.width],
        }
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

fn read(
    reader: &mut csv::Reader<Metered<'_>>,
    record: &mut ByteRecord,
    skipped: u64,
) -> Result<bool, Rejection> {
    reader.get_mut().allow_a_row();
    let begun_at = reader.position().line() + skipped;
    reader.read_byte_record(record).map_err(|error| {
        if error.is_io_error() {
            return long_row(begun_at);
        }
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

/// What is wrong with a body that has nothing in it.
pub(super) const EMPTY: &str = "the body is empty";

fn empty() -> Rejection {
    Rejection::whole(
        EMPTY,
        "check the address; a service sometimes answers an unknown station with nothing",
    )
}

/// A rejection of what came from an address, or else from a file of this machine, which has none.
pub fn of_origin(rejection: Rejection, is_file: bool) -> Rejection {
    if is_file && rejection.what == EMPTY {
        return Rejection::whole(
            "the file is empty",
            "look at what writes it, or name another file",
        );
    }
    rejection
}

pub(super) fn refuse_what_is_no_csv(bytes: &[u8]) -> Result<(), Rejection> {
    let start = bytes.trim_ascii_start();
    if start.is_empty() {
        return Err(empty());
    }
    let quoted = || shorten(&beginning(start));
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
        _ if start[..start.len().min(6)].eq_ignore_ascii_case(b"error:") => Err(Rejection::at(
            1,
            format!("the service answered with an error message: {}", quoted()),
            "do what the message says: mostly it is the station's code, the network or the dates in the address",
        )),
        _ if start.starts_with(b"PK\x03\x04") => Err(Rejection::whole(
            "this is a zip archive, not CSV",
            "unpack it first and name the CSV file, or name a dialect that has a zip_member",
        )),
        0xff | 0xfe if start.get(1).is_some_and(|byte| byte ^ start[0] == 1) => {
            Err(Rejection::whole(
                "this is text in UTF-16, as spreadsheets save it under the name Unicode",
                "save it as CSV in UTF-8",
            ))
        }
        _ if start[..start.len().min(4096)].contains(&0) => Err(Rejection::whole(
            "this is a binary file, not CSV",
            "check the address",
        )),
        _ => Ok(()),
    }
}

/// The file up to the line that marks its end, where the dialect has one.
fn up_to_end<'b>(bytes: &'b [u8], dialect: &Dialect) -> Result<&'b [u8], Rejection> {
    let Some(mark) = &dialect.ends_with else {
        return Ok(bytes);
    };
    let mut from = 0;
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        if line.trim_ascii() == mark.as_bytes() {
            return Ok(&bytes[..from]);
        }
        from += line.len();
    }
    Err(Rejection::whole(
        format!("there is no line \"{mark}\" at the end, so the file was cut off"),
        "nothing of it was used; get it again",
    ))
}

/// Lines before the one whose first field is what the header starts with.
fn lines_before_header(bytes: &[u8], dialect: &Dialect) -> Result<u64, Rejection> {
    let names = &dialect.header_starts_with;
    if names.is_empty() {
        return Ok(dialect.skip_lines.into());
    }
    let found = bytes
        .split(|byte| *byte == b'\n')
        .position(|line| is_header_start(first_field(line, dialect), names));
    found.map(|lines| lines as u64).ok_or_else(|| {
        let start = beginning(bytes.trim_ascii_start());
        Rejection::at(
            1,
            format!(
                "no line starts with the header's {}; the file begins with: {}",
                names.join(" or "),
                shorten(&start)
            ),
            "this is not a file of this dialect: check the address and what it asks for",
        )
    })
}

/// A file with lines above its header may have more below its rows: the header again or, after an
/// empty line, another table, whose rows would pass for more of the same.
fn refuse_second_table(body: &[u8], skipped: u64, dialect: &Dialect) -> Result<(), Rejection> {
    let names = &dialect.header_starts_with;
    if names.is_empty() {
        return Ok(());
    }
    let (mut begun, mut ended) = (false, false);
    let lines = body.split(|byte| *byte == b'\n');
    for (number, line) in (skipped + 1..).zip(lines).skip(1) {
        if line.trim_ascii().is_empty() {
            ended = begun;
        } else if ended || is_header_start(first_field(line, dialect), names) {
            return Err(Rejection::at(
                number,
                format!(
                    "a second header or table, so the file holds several places, or other values beside the daily ones: {}",
                    shorten(&beginning(line))
                ),
                "ask the service for one place at a time, and for daily values only",
            ));
        } else {
            begun = true;
        }
    }
    Ok(())
}

fn first_field<'l>(line: &'l [u8], dialect: &Dialect) -> &'l [u8] {
    let mut fields = line.split(|byte| *byte == dialect.delimiter);
    fields.next().unwrap_or_default()
}

/// The line a record stands on, in a file of which `skipped` lines stand before `body`. The reader's
/// own position is that of blank lines before the record.
fn line_of(record: &ByteRecord, body: &[u8], skipped: u64) -> u64 {
    let Some(position) = record.position() else {
        return 1 + skipped;
    };
    let from = usize::try_from(position.byte()).unwrap_or(usize::MAX);
    let blank = body
        .get(from..)
        .unwrap_or_default()
        .iter()
        .take_while(|byte| matches!(byte, b'\r' | b'\n'))
        .filter(|byte| **byte == b'\n')
        .count();
    position.line() + blank as u64 + skipped
}

fn is_header_start(field: &[u8], names: &[String]) -> bool {
    let field = field.trim_ascii();
    let field = field.strip_prefix(b"\"").unwrap_or(field);
    let field = field.strip_suffix(b"\"").unwrap_or(field);
    names
        .iter()
        .any(|name| field.eq_ignore_ascii_case(name.as_bytes()))
}

/// What follows a number of lines.
fn after_lines(bytes: &[u8], lines: u64) -> &[u8] {
    let mut rest = bytes;
    for _ in 0..lines {
        let end = rest.iter().position(|byte| *byte == b'\n');
        rest = end.map_or(&[][..], |end| &rest[end + 1..]);
    }
    rest
}

/// A first row whose date column holds a date is data.
fn starts_with_data(record: &ByteRecord, dialect: &Dialect) -> bool {
    let position = dialect.columns.date.position.unwrap_or(0);
    let field = String::from_utf8_lossy(record.get(position).unwrap_or_default().trim_ascii());
    super::day::parse_date(&field, &dialect.date_formats).is_some()
}

/// The beginning of some bytes as text, enough for [`shorten`].
fn beginning(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    String::from_utf8_lossy(&bytes[..bytes.len().min(400)])
}

/// At most about a line of text, for messages.
pub(super) fn shorten(text: &str) -> String {
    const MOST: usize = 100;
    let line = text.lines().next().unwrap_or("").trim();
    if line.chars().count() <= MOST {
        line.to_owned()
    } else {
        line.chars().take(MOST).chain("…".chars()).collect()
    }
}
