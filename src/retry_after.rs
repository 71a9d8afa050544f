//! How long a server asks to be left alone for.

use reqwest::header::{DATE, HeaderMap, HeaderName, RETRY_AFTER};
use std::time::{Duration, SystemTime};

/// The pause that `Retry-After` asks for (RFC 9110, 10.2.3): seconds, or an instant. An instant is
/// held against the server's own `Date`, so this machine's clock need not agree with the server's;
/// without one it is not heeded.
pub fn retry_after(headers: &HeaderMap) -> Option<Duration> {
    let text = headers.get(RETRY_AFTER)?.to_str().ok()?.trim();
    if let Ok(seconds) = text.parse::<u32>() {
        return Some(Duration::from_secs(seconds.into()));
    }
    let instant = |name: HeaderName| -> Option<SystemTime> {
        httpdate::parse_http_date(headers.get(name)?.to_str().ok()?).ok()
    };
    let pause = instant(RETRY_AFTER)?.duration_since(instant(DATE)?);
    // An instant that has passed asks for no pause.
    Some(pause.unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pause(retry_after: &str, date: Option<&str>) -> Option<u64> {
        let mut headers = HeaderMap::new();
        headers.insert(RETRY_AFTER, retry_after.parse().unwrap());
        if let Some(date) = date {
            headers.insert(DATE, date.parse().unwrap());
        }
        super::retry_after(&headers).map(|pause| pause.as_secs())
    }

    #[test]
    fn a_pause_is_given_in_seconds_or_as_an_instant_by_the_server_s_own_clock() {
        let date = Some("Wed, 01 Jul 2026 12:00:00 GMT");
        assert_eq!(pause("90", None), Some(90));
        assert_eq!(pause("Wed, 01 Jul 2026 12:10:00 GMT", date), Some(600));
        // The older forms that a recipient must understand (RFC 9110, 5.6.7).
        assert_eq!(pause("Wednesday, 01-Jul-26 12:10:00 GMT", date), Some(600));
        assert_eq!(pause("Wed Jul  1 12:10:00 2026", date), Some(600));
        assert_eq!(pause("Wed, 01 Jul 2026 11:00:00 GMT", date), Some(0));
    }

    #[test]
    fn what_says_no_pause_is_not_heeded() {
        assert_eq!(pause("Wed, 01 Jul 2026 12:10:00 GMT", None), None);
        for nonsense in ["soon", "-5", "", "99999999999999"] {
            assert_eq!(pause(nonsense, Some("Wed, 01 Jul 2026 12:00:00 GMT")), None);
        }
    }
}
