//! Whether a form was sent from one of our own pages, by what the browser says of it.

use axum::http::HeaderMap;
use axum::http::header::ORIGIN;

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
    fn a_form_that_says_nothing_of_where_it_comes_from_is_not_taken() {
        assert!(!may(None, None));
    }
}
