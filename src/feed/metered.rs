//! A file that gives out no more than a row's worth of bytes at a time.

use super::limits::LONGEST_ROW;
use std::io::{self, Read};

/// Bytes that the CSV reader asks for at a time.
pub(super) const BUFFER: usize = 8 << 10;

/// The bytes of a file, given out up to an allowance that each row renews.
#[derive(Debug)]
pub(super) struct Metered<'b> {
    rest: &'b [u8],
    allowance: usize,
}

impl<'b> Metered<'b> {
    pub(super) fn new(bytes: &'b [u8]) -> Self {
        Self {
            rest: bytes,
            allowance: 0,
        }
    }

    /// Allows another row. Rows that are buffered already count as read, so one may be a buffer
    /// longer than [`LONGEST_ROW`] before it is found out.
    pub(super) fn allow_a_row(&mut self) {
        self.allowance = LONGEST_ROW;
    }
}

impl Read for Metered<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.allowance == 0 && !self.rest.is_empty() {
            return Err(io::Error::other("too long a row"));
        }
        let most = buffer.len().min(self.allowance);
        let read = self.rest.read(&mut buffer[..most])?;
        self.allowance -= read;
        Ok(read)
    }
}
