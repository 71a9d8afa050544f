//! Days, counts and shares in words, as all reports write them.

/// "1 error", "2 errors".
pub fn counted(count: usize, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}

/// "1 day", "3 days"; the sign is left to the sentence around it.
pub(super) fn days(days: i64) -> String {
    counted(days.unsigned_abs() as usize, "day")
}

/// "62 %"; small shares are not rounded to none.
pub(super) fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.01 {
        "under 1 %".to_owned()
    } else {
        format!("{:.0} %", share * 100.0)
    }
}

/// With a capital first letter.
pub(super) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// A share with three decimals, for JSON.
pub(super) fn thousandths(share: f64) -> f64 {
    (share * 1000.0).round() / 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_thing_is_singular_and_no_thing_plural() {
        assert_eq!(counted(0, "site"), "0 sites");
        assert_eq!(counted(1, "site"), "1 site");
        assert_eq!(days(-1), "1 day");
        assert_eq!(days(-12), "12 days");
    }

    #[test]
    fn a_small_share_is_not_rounded_to_none() {
        assert_eq!(percent(0.0), "0 %");
        assert_eq!(percent(0.004), "under 1 %");
        assert_eq!(percent(0.016), "2 %");
    }
}
