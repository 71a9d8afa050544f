//! Numbers that look random and are the same for the same seed.

use std::ops::Range;

/// SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators").
pub struct Chance(pub u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// One of these, each as likely as the other.
    pub fn within(&mut self, range: Range<i64>) -> i64 {
        let width = range.end.abs_diff(range.start);
        range.start + (self.next() % width) as i64
    }

    /// True in so many of a hundred cases.
    pub fn percent(&mut self, hundredths: i64) -> bool {
        self.within(0..100) < hundredths
    }
}
