//! Reading a TOML table field by field, noting every problem instead of stopping at the first.

use super::problem::{SourceText, closest};
use std::cell::RefCell;
use std::ops::{Range, RangeInclusive};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Most characters of an identifier.
const LONGEST_ID: usize = 100;

/// A value with the byte range it stands at.
#[derive(Debug, Clone, PartialEq)]
pub struct Located<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub at: Range<usize>,
}

/// A table being read. Every getter notes what is wrong on the page and returns `None`.
pub struct Fields<'p, 't> {
    page: &'p SourceText<'t>,
    table: &'p DeTable<'t>,
    /// Where the table starts, for keys that are missing.
    at: Range<usize>,
    /// What the table is called in messages, for example `[[station]]`.
    name: String,
    known: RefCell<Vec<&'static str>>,
}

/// Parses a page; syntax errors are noted, all of them.
pub fn parse<'t>(page: &SourceText<'t>) -> Spanned<DeTable<'t>> {
    let (table, errors) = DeTable::parse_recoverable(page.text());
    for error in errors {
        page.error(
            error.span().unwrap_or(0..0),
            format!("this is not TOML: {}", error.message()),
        );
    }
    table
}

impl<'p, 't> Fields<'p, 't> {
    /// The top level of a page.
    pub fn top(page: &'p SourceText<'t>, table: &'p Spanned<DeTable<'t>>) -> Self {
        Self {
            page,
            table: table.get_ref(),
            at: 0..0,
            name: "the file".into(),
            known: RefCell::default(),
        }
    }

    /// A table that was put together, for values that stand at places of a page.
    pub(super) fn of(
        page: &'p SourceText<'t>,
        table: &'p DeTable<'t>,
        at: Range<usize>,
        name: &str,
    ) -> Self {
        Self {
            page,
            table,
            at,
            name: name.to_owned(),
            known: RefCell::default(),
        }
    }

    /// The table itself.
    pub(super) fn values(&self) -> &'p DeTable<'t> {
        self.table
    }

    /// Takes a key as known whose value is read elsewhere.
    pub(super) fn known(&self, key: &'static str) {
        self.known.borrow_mut().push(key);
    }

    /// The page it stands on.
    pub fn page(&self) -> &'p SourceText<'t> {
        self.page
    }

    /// Where the table starts.
    pub fn at(&self) -> Range<usize> {
        self.at.clone()
    }

    /// Where a key's value stands, or the table if the key is not there.
    pub fn at_key(&self, key: &str) -> Range<usize> {
        self.table.get(key).map_or(self.at(), Spanned::span)
    }

    /// The table's name in messages.
    pub fn name(&self) -> &str {
        &self.name
    }

    pub(super) fn raw(&self, key: &'static str) -> Option<&'p Spanned<DeValue<'t>>> {
        self.known.borrow_mut().push(key);
        self.table.get(key)
    }

    /// Whether a key is there at all.
    pub fn has(&self, key: &str) -> bool {
        self.table.get(key).is_some()
    }

    fn missing(&self, key: &str, example: &str) {
        self.page.error(
            self.at(),
            format!("{} needs {key}, for example {key} = {example}", self.name),
        );
    }

    pub(super) fn wrong_type<T>(
        &self,
        key: &str,
        wanted: &str,
        got: &Spanned<DeValue<'t>>,
    ) -> Option<T> {
        self.page.error(
            got.span(),
            format!("{key} must be {wanted}, not {}", a_type(got.get_ref())),
        );
        None
    }

    /// An optional text; empty text is an error.
    pub fn text(&self, key: &'static str) -> Option<Located<String>> {
        let value = self.raw(key)?;
        let Some(text) = value.get_ref().as_str() else {
            return self.wrong_type(key, "text in quotes", value);
        };
        if text.trim().is_empty() {
            self.page
                .error(value.span(), format!("{key} must not be empty"));
            return None;
        }
        Some(Located {
            value: text.to_owned(),
            at: value.span(),
        })
    }

    /// A text that must be there.
    pub fn required_text(&self, key: &'static str, example: &str) -> Option<Located<String>> {
        if !self.has(key) {
            self.known.borrow_mut().push(key);
            self.missing(key, &format!("\"{example}\""));
            return None;
        }
        self.text(key)
    }

    /// A text that must be there and may be blank, such as a tab.
    pub fn required_text_or_blank(
        &self,
        key: &'static str,
        example: &str,
    ) -> Option<Located<String>> {
        let Some(value) = self.raw(key) else {
            self.missing(key, &format!("\"{example}\""));
            return None;
        };
        let Some(text) = value.get_ref().as_str() else {
            return self.wrong_type(key, "text in quotes", value);
        };
        Some(Located {
            value: text.to_owned(),
            at: value.span(),
        })
    }

    /// An identifier that must be there: lower-case letters, digits and hyphens.
    pub fn required_id(&self, key: &'static str, example: &str) -> Option<Located<String>> {
        let id = self.required_text(key, example)?;
        let fits = id.value.len() <= LONGEST_ID;
        let fine = id
            .value
            .chars()
            .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
        if !fits || !fine {
            let shown: String = id.value.chars().take(LONGEST_ID).collect();
            self.page.error(
                id.at.clone(),
                format!(
                    "{key} = {shown:?} may only hold a-z, 0-9 and hyphens, at most {LONGEST_ID} of them, for example \"{example}\"",
                ),
            );
            return None;
        }
        Some(id)
    }

    /// One of a list of names.
    pub fn choice<T: Copy>(
        &self,
        key: &'static str,
        named: &[(&'static str, T)],
    ) -> Option<Located<T>> {
        let text = self.text(key)?;
        let found = crate::domain::named(named, &text.value);
        if found.is_none() {
            let all: Vec<String> = named
                .iter()
                .map(|(name, _)| format!("\"{name}\""))
                .collect();
            self.page.error(
                text.at.clone(),
                format!(
                    "{key} = \"{}\" must be one of {}",
                    text.value,
                    all.join(", ")
                ),
            );
        }
        Some(Located {
            value: found?,
            at: text.at,
        })
    }

    /// A name from a list that must be there.
    pub fn required_choice<T: Copy>(
        &self,
        key: &'static str,
        named: &[(&'static str, T)],
    ) -> Option<Located<T>> {
        if !self.has(key) {
            self.known.borrow_mut().push(key);
            self.missing(key, &format!("\"{}\"", named[0].0));
            return None;
        }
        self.choice(key, named)
    }

    /// A number within a range; `nan` and `inf`, which TOML allows, are refused.
    pub fn number(&self, key: &'static str, range: RangeInclusive<f64>) -> Option<Located<f64>> {
        let value = self.raw(key)?;
        if !matches!(value.get_ref(), DeValue::Float(_) | DeValue::Integer(_)) {
            return self.wrong_type(key, "a number", value);
        }
        let number = number_of(value.get_ref());
        match number {
            Some(number) if range.contains(&number) => Some(Located {
                value: number,
                at: value.span(),
            }),
            _ => {
                self.page.error(
                    value.span(),
                    format!(
                        "{key} must be a number from {} to {}",
                        range.start(),
                        range.end()
                    ),
                );
                None
            }
        }
    }

    /// A number that must be there.
    pub fn required_number(
        &self,
        key: &'static str,
        range: RangeInclusive<f64>,
        example: &str,
    ) -> Option<Located<f64>> {
        if !self.has(key) {
            self.known.borrow_mut().push(key);
            self.missing(key, example);
            return None;
        }
        self.number(key, range)
    }

    /// A whole number within a range.
    pub fn whole(&self, key: &'static str, range: RangeInclusive<u32>) -> Option<Located<u32>> {
        let value = self.raw(key)?;
        let DeValue::Integer(integer) = value.get_ref() else {
            return self.wrong_type(key, "a whole number", value);
        };
        let number = u32::from_str_radix(integer.as_str(), integer.radix()).ok();
        match number.filter(|n| range.contains(n)) {
            Some(number) => Some(Located {
                value: number,
                at: value.span(),
            }),
            None => {
                self.page.error(
                    value.span(),
                    format!(
                        "{key} must be a whole number from {} to {}",
                        range.start(),
                        range.end()
                    ),
                );
                None
            }
        }
    }

    /// `true` or `false`; absent is `false`.
    pub fn flag(&self, key: &'static str) -> bool {
        let Some(value) = self.raw(key) else {
            return false;
        };
        match value.get_ref().as_bool() {
            Some(flag) => flag,
            None => self
                .wrong_type(key, "true or false", value)
                .unwrap_or(false),
        }
    }

    /// A table, `[name]`.
    pub fn table(&self, key: &'static str) -> Option<Fields<'p, 't>> {
        let value = self.raw(key)?;
        match value.get_ref().as_table() {
            Some(table) => {
                Some(self.inner(table, value.span(), format!("[{}]", self.path_to(key))))
            }
            None => self.wrong_type(key, &format!("a table [{key}]"), value),
        }
    }

    /// A list of tables, `[[name]]`; absent is empty.
    pub fn tables(&self, key: &'static str) -> Vec<Fields<'p, 't>> {
        let Some(value) = self.raw(key) else {
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            let _: Option<()> = self.wrong_type(key, &format!("tables [[{key}]]"), value);
            return Vec::new();
        };
        let mut tables = Vec::new();
        for item in array {
            match item.get_ref().as_table() {
                Some(table) => {
                    let name = format!("[[{}]]", self.path_to(key));
                    tables.push(self.inner(table, item.span(), name));
                }
                None => {
                    let _: Option<()> = self.wrong_type(key, &format!("tables [[{key}]]"), item);
                }
            }
        }
        tables
    }

    /// The key with the names of the tables around it, for example `member.site`.
    pub(super) fn path_to(&self, key: &str) -> String {
        match self.name.trim_matches(['[', ']']) {
            around if self.name.starts_with('[') => format!("{around}.{key}"),
            _ => key.to_owned(),
        }
    }

    pub(super) fn inner(
        &self,
        table: &'p DeTable<'t>,
        at: Range<usize>,
        name: String,
    ) -> Fields<'p, 't> {
        Fields {
            page: self.page,
            table,
            at,
            name,
            known: RefCell::default(),
        }
    }

    /// Notes every key that no getter asked for. Call it last.
    pub fn finish(self) {
        self.note_unknown();
    }

    /// The same for a table that is read again later.
    pub(super) fn note_unknown(&self) {
        let known = self.known.borrow();
        for (key, _) in self.table {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                continue;
            }
            let hint = match closest(name, known.iter().copied()) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("it knows {}", known.join(", ")),
            };
            self.page.error(
                key.span(),
                format!("{} does not know the key {name}; {hint}", self.name),
            );
        }
    }
}

pub(super) fn number_of(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Float(float) => float.as_str().parse().ok(),
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            .map(|i| i as f64),
        _ => None,
    }
}

fn a_type(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
