//! Lists of a TOML table, read like its other fields.

use super::fields::{Fields, Located, number_of};
use std::ops::RangeInclusive;

/// An item of a list that may be a text or a table.
pub enum TextOrTable<'p, 't> {
    /// A text.
    Text(Located<String>),
    /// A table.
    Table(Fields<'p, 't>),
}

impl<'p, 't> Fields<'p, 't> {
    /// A list of whole numbers within a range.
    pub fn wholes(&self, key: &'static str, range: RangeInclusive<u32>) -> Option<Vec<u32>> {
        let value = self.raw(key)?;
        let wanted = format!(
            "a list of whole numbers from {} to {} like [45, 14]",
            range.start(),
            range.end()
        );
        let Some(array) = value.get_ref().as_array() else {
            return self.wrong_type(key, &wanted, value);
        };
        let mut numbers = Vec::new();
        for item in array {
            let number = item
                .get_ref()
                .as_integer()
                .and_then(|i| u32::from_str_radix(i.as_str(), i.radix()).ok())
                .filter(|number| range.contains(number));
            match number {
                Some(number) => numbers.push(number),
                None => self
                    .page()
                    .error(item.span(), format!("{key} must be {wanted}")),
            }
        }
        Some(numbers)
    }

    /// A list of exactly `N` numbers within a range.
    pub fn numbers<const N: usize>(
        &self,
        key: &'static str,
        range: RangeInclusive<f64>,
    ) -> Option<[f64; N]> {
        let value = self.raw(key)?;
        let wanted = format!(
            "a list of {N} numbers from {} to {}",
            range.start(),
            range.end()
        );
        let Some(array) = value.get_ref().as_array() else {
            return self.wrong_type(key, &wanted, value);
        };
        let numbers: Option<Vec<f64>> = array
            .iter()
            .map(|item| number_of(item.get_ref()).filter(|number| range.contains(number)))
            .collect();
        let numbers = numbers.and_then(|numbers| <[f64; N]>::try_from(numbers).ok());
        if numbers.is_none() {
            self.page()
                .error(value.span(), format!("{key} must be {wanted}"));
        }
        numbers
    }

    /// A list of texts.
    pub fn texts(&self, key: &'static str) -> Option<Vec<Located<String>>> {
        let value = self.raw(key)?;
        let Some(array) = value.get_ref().as_array() else {
            return self.wrong_type(key, "a list of texts like [\"one\", \"two\"]", value);
        };
        let mut texts = Vec::new();
        for item in array {
            match item.get_ref().as_str() {
                Some(text) => texts.push(Located {
                    value: text.to_owned(),
                    at: item.span(),
                }),
                None => {
                    let _: Option<()> = self.wrong_type(key, "a list of texts", item);
                }
            }
        }
        Some(texts)
    }

    /// A list whose items are texts or tables.
    pub fn texts_or_tables(&self, key: &'static str) -> Option<Vec<TextOrTable<'p, 't>>> {
        let value = self.raw(key)?;
        let wanted = "a list of texts or tables";
        let Some(array) = value.get_ref().as_array() else {
            return self.wrong_type(key, wanted, value);
        };
        let mut items = Vec::new();
        for item in array {
            match (item.get_ref().as_str(), item.get_ref().as_table()) {
                (Some(text), _) => items.push(TextOrTable::Text(Located {
                    value: text.to_owned(),
                    at: item.span(),
                })),
                (_, Some(table)) => {
                    let name = format!("[[{}]]", self.path_to(key));
                    items.push(TextOrTable::Table(self.inner(table, item.span(), name)));
                }
                _ => {
                    let _: Option<()> = self.wrong_type(key, wanted, item);
                }
            }
        }
        Some(items)
    }
}
