//! A row cut into its fields, fast.

use crate::feed::Rejection;
use crate::station_feed::dialect::{Column, Dialect};

/// Where the columns of long rows are, counted from 0.
#[derive(Debug, Clone, Copy)]
pub(super) struct LongRowColumns {
    pub station: usize,
    pub date: usize,
    pub element: usize,
    pub value: usize,
    pub quality: usize,
}

/// Fields of a row that are told apart; more are only counted.
const MOST_FIELDS: usize = 16;

impl LongRowColumns {
    pub(super) fn of(dialect: &Dialect) -> Result<Self, Rejection> {
        let columns = &dialect.columns;
        let place = |column: &Column| {
            let position = column.position.filter(|position| *position < MOST_FIELDS);
            position.ok_or_else(|| no_long_rows(dialect))
        };
        Ok(Self {
            station: place(&columns.station)?,
            date: place(&columns.date)?,
            element: place(&columns.element)?,
            value: place(&columns.value)?,
            quality: place(&columns.quality)?,
        })
    }
}

pub(super) fn no_long_rows(dialect: &Dialect) -> Rejection {
    Rejection::whole(
        format!(
            "the dialect {} does not say at which positions long rows have station, date, element, value and quality",
            dialect.name
        ),
        "take the dialect_dir's file of that name away, or complete its [positions] and [elements]",
    )
}

/// A row cut into its fields.
pub(super) struct FieldSplitter<'l> {
    line: &'l [u8],
    /// How many fields it has.
    pub width: usize,
    /// Where each of the first ends.
    ends: [u32; MOST_FIELDS],
}

impl<'l> FieldSplitter<'l> {
    /// Cuts a line at its commas, eight bytes at a time.
    #[inline]
    pub(super) fn new(line: &'l [u8]) -> Self {
        let mut split = Self {
            line,
            width: 1,
            ends: [line.len() as u32; MOST_FIELDS],
        };
        let (words, rest) = line.as_chunks::<8>();
        let mut start = 0;
        for word in words {
            split.add(commas(*word), start);
            start += 8;
        }
        if let Some(last) = line.last_chunk::<8>() {
            // The last eight bytes again, without those that were looked at.
            let seen = 8 * (8 - rest.len() as u32);
            split.add(commas(*last).checked_shr(seen).unwrap_or(0), start);
        } else {
            let mut word = [0; 8];
            word[..rest.len()].copy_from_slice(rest);
            split.add(commas(word), start);
        }
        split
    }

    #[inline]
    fn add(&mut self, mut commas: u64, start: u32) {
        while commas != 0 {
            if let Some(end) = self.ends.get_mut(self.width - 1) {
                *end = start + commas.trailing_zeros() / 8;
            }
            self.width += 1;
            commas &= commas - 1;
        }
    }

    /// A field without surrounding blanks; nothing if the row has too few.
    #[inline]
    pub(super) fn field(&self, position: usize) -> &'l [u8] {
        let start = match position.checked_sub(1) {
            Some(before) => self.ends[before] as usize + 1,
            None => 0,
        };
        let field = self.line.get(start..self.ends[position] as usize);
        match field.unwrap_or_default() {
            [first, .., last] if !first.is_ascii_whitespace() && !last.is_ascii_whitespace() => {
                field.unwrap_or_default()
            }
            field => field.trim_ascii(),
        }
    }
}

/// The high bit of each byte that is a comma. Exact for every byte: no carry leaves one.
fn commas(word: [u8; 8]) -> u64 {
    const LOW: u64 = 0x7f7f_7f7f_7f7f_7f7f;
    let differs = u64::from_le_bytes(word) ^ u64::from_le_bytes([b','; 8]);
    !(((differs & LOW) + LOW) | differs | LOW)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_line_is_cut_where_splitting_it_at_commas_would(
            line in prop::collection::vec(prop::sample::select(b", ,a\xac\x2d\xff\0,1".to_vec()), 0..60)
        ) {
            let fields: Vec<&[u8]> = line.split(|byte| *byte == b',').collect();
            let split = FieldSplitter::new(&line);
            prop_assert_eq!(split.width, fields.len());
            for (position, field) in fields.iter().enumerate().take(MOST_FIELDS) {
                prop_assert_eq!(split.field(position), field.trim_ascii());
            }
            for position in fields.len()..MOST_FIELDS {
                prop_assert_eq!(split.field(position), b"");
            }
        }
    }
}
