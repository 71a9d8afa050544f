//! What is sent to the page in somebody's name must come from a form of the page itself, and not from
//! another site that their browser happens to show.
//!
//! For every handler behind [`super::admission`] this is done. A form needs a hidden field
//! `form_key` with [`Viewer::form_key`]; its handler takes `axum::Form` as usual.

use super::answers::NoPage;
use super::client::host_name;
use super::routes::MOST_BYTES;
use super::viewer::Viewer;
use crate::config::Web;
use axum::Form;
use axum::body::{Body, to_bytes};
use axum::extract::{FromRequest, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method, header};
use serde::Deserialize;

/// The hidden field that every form has.
#[derive(Deserialize)]
struct KeyField {
    form_key: String,
}

/// Whether a method only looks.
pub(super) fn only_looks(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// Whether a browser says that a form is of this page. One that says nothing is not believed.
pub(super) fn is_own_form(headers: &HeaderMap, web: &Web) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let (site, origin) = (text("sec-fetch-site"), text("origin"));
    let site_fits = site.is_none_or(|site| site == "same-origin");
    let origin_fits = origin.is_none_or(|origin| is_own_origin(origin, headers, web));
    site_fits && origin_fits && (site.is_some() || origin.is_some())
}

/// Whether an origin is the page's address, or the host that was asked for.
fn is_own_origin(origin: &str, headers: &HeaderMap, web: &Web) -> bool {
    let configured = web.address.as_ref().map(|url| url.origin());
    if configured.is_some_and(|own| own.ascii_serialization() == origin) {
        return true;
    }
    let Some((_, authority)) = origin.split_once("://") else {
        return false;
    };
    let host = headers
        .get(header::HOST)
        .and_then(|host| host.to_str().ok());
    // Where the address is known and asked for, it is the only one.
    let is_configured = |name: &str| {
        let own = web.address.as_ref().and_then(|url| url.host_str());
        own.is_some_and(|own| host_name(own) == name)
    };
    host.is_some_and(|host| host == authority && !is_configured(host_name(host)))
}

/// Lets a request through that changes something, if it is from a form of the viewer's own. Programs
/// with a token have no forms, and no browser sends their token by itself.
///
/// # Errors
/// [`NoPage::Forbidden`] if it is not.
pub(super) async fn guarded(
    viewer: &Viewer,
    web: &Web,
    parts: Parts,
    body: Body,
) -> Result<Request, NoPage> {
    let Some(key) = &viewer.form_key else {
        return Ok(Request::from_parts(parts, body));
    };
    let refused = || NoPage::Forbidden(NOT_A_FORM);
    if !is_own_form(&parts.headers, web) {
        return Err(refused());
    }
    let bytes = to_bytes(body, MOST_BYTES).await.map_err(|_| refused())?;
    let looked_at = Request::from_parts(parts.clone(), Body::from(bytes.clone()));
    let field = Form::<KeyField>::from_request(looked_at, &()).await;
    let Form(field) = field.map_err(|_| refused())?;
    if !key.is(&field.form_key) {
        return Err(refused());
    }
    Ok(Request::from_parts(parts, Body::from(bytes)))
}

/// What is said of a form that is not the viewer's.
pub(super) const NOT_A_FORM: &str = "What was sent did not come from a form of this page, or the form is of an earlier sign-in. Open the page anew and try again.";

#[cfg(test)]
mod tests {
    use super::*;

    fn fits(address: Option<&str>, headers: &[(&'static str, &'static str)]) -> bool {
        let web = Web {
            listen: "127.0.0.1:8417".parse().unwrap(),
            address: address.map(|url| url.parse().unwrap()),
            sign_in: true,
            proxies: Vec::new(),
            own_push_services: Vec::new(),
        };
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.insert(*name, value.parse().unwrap());
        }
        is_own_form(&map, &web)
    }

    #[test]
    fn a_form_of_another_site_or_of_nobody_is_not_the_pages_own() {
        let turf = Some("https://turf.three-brooks.example/");
        let host = ("host", "turf.three-brooks.example");
        let own = ("origin", "https://turf.three-brooks.example");
        assert!(fits(turf, &[host, own, ("sec-fetch-site", "same-origin")]));
        assert!(fits(turf, &[host, own]));
        assert!(fits(turf, &[("host", "127.0.0.1:8417"), own]));
        assert!(fits(turf, &[host, ("sec-fetch-site", "same-origin")]));
        assert!(!fits(turf, &[host]));
        for origin in [
            "https://other.example",
            "http://turf.three-brooks.example",
            "https://turf.three-brooks.example.other.example",
            "https://turf.three-brooks.example:8443",
            "null",
            "",
        ] {
            assert!(!fits(turf, &[host, ("origin", origin)]), "{origin}");
        }
        for site in ["cross-site", "same-site", "none", ""] {
            assert!(
                !fits(turf, &[host, own, ("sec-fetch-site", site)]),
                "{site}"
            );
        }
    }

    #[test]
    fn on_this_machine_the_origin_is_the_host_with_its_port() {
        let host = ("host", "127.0.0.1:8417");
        assert!(fits(None, &[host, ("origin", "http://127.0.0.1:8417")]));
        assert!(!fits(None, &[host, ("origin", "http://127.0.0.1:3000")]));
    }
}
