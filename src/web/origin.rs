//! Whether a form was sent from one of our own pages, by what the browser says of it.

use axum::http::HeaderMap;
use axum::http::header::ORIGIN;
use std::net::{IpAddr, SocketAddr};

/// What browsers say of where a request comes from (Fetch Metadata, W3C).
const FETCH_SITE: &str = "sec-fetch-site";

/// Whether a form may come from a page of this host, `turf.example` or `127.0.0.1:8417`.
///
/// Every browser of today says where a form comes from, by `Origin` or by `Sec-Fetch-Site`. One of them
/// must say that it is this host, and neither may say otherwise.
pub(super) fn may_come_from_here(headers: &HeaderMap, host: &str) -> bool {
    let origin = headers.get(ORIGIN).map(|origin| {
        let origin = origin.to_str().unwrap_or("");
        let authority = ["https://", "http://"]
            .iter()
            .find_map(|scheme| origin.strip_prefix(scheme));
        !host.is_empty() && authority.is_some_and(|from| from.eq_ignore_ascii_case(host))
    });
    let fetched = headers
        .get(FETCH_SITE)
        .map(|site| site.as_bytes() == b"same-origin");
    matches!(
        (origin, fetched),
        (Some(true), Some(true) | None) | (None, Some(true))
    )
}

/// Whether no stranger can make this host lead here: a number, or the machine itself. Any name can be
/// made to (DNS rebinding), so a name is ours only if the configuration says so.
pub(super) fn cannot_be_borrowed(host: &str) -> bool {
    let is_number = host.parse::<SocketAddr>().is_ok()
        || host.parse::<IpAddr>().is_ok()
        || host
            .strip_prefix('[')
            .and_then(|host| host.strip_suffix(']'))
            .is_some_and(|host| host.parse::<IpAddr>().is_ok());
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    is_number || name.eq_ignore_ascii_case("localhost")
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn may(origin: Option<&str>, site: Option<&str>) -> bool {
        let mut headers = HeaderMap::new();
        if let Some(origin) = origin {
            headers.insert(ORIGIN, HeaderValue::from_str(origin).unwrap());
        }
        if let Some(site) = site {
            headers.insert(FETCH_SITE, HeaderValue::from_str(site).unwrap());
        }
        may_come_from_here(&headers, "turf.example:8417")
    }

    #[test]
    fn a_form_of_our_own_pages_is_taken() {
        assert!(may(Some("http://turf.example:8417"), None));
        assert!(may(Some("https://TURF.example:8417"), Some("same-origin")));
        assert!(may(None, Some("same-origin")));
    }

    #[test]
    fn a_form_of_anybody_else_is_not() {
        for origin in [
            "http://other.example",
            "http://turf.example",
            "http://turf.example:8417.other.example",
            "null",
            "",
        ] {
            assert!(!may(Some(origin), None), "{origin}");
            assert!(!may(Some(origin), Some("same-origin")), "{origin}");
        }
        for site in ["cross-site", "same-site", "none", ""] {
            assert!(!may(Some("http://turf.example:8417"), Some(site)), "{site}");
        }
    }

    #[test]
    fn a_name_can_be_borrowed_and_a_number_cannot() {
        for own in [
            "127.0.0.1:8417",
            "192.168.1.5",
            "[::1]:8417",
            "[::1]",
            "localhost:8417",
            "localhost",
        ] {
            assert!(cannot_be_borrowed(own), "{own}");
        }
        for name in [
            "turf.example",
            "localhost.example:8417",
            "127.0.0.1.example",
            "",
        ] {
            assert!(!cannot_be_borrowed(name), "{name}");
        }
    }

    #[test]
    fn a_form_that_says_nothing_of_where_it_comes_from_is_not_taken() {
        assert!(!may(None, None));
    }
}
