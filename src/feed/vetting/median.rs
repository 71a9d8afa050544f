//! The median that all of vetting takes.

/// The upper median, if there are values; puts them out of order.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
