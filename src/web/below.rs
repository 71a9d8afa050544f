//! The page below a path, where a server before it has other things at its root: `address =
//! "https://example.org/turf/"`. Inside, every address begins at the root; here the path is taken off
//! what is asked and put before what is answered, so that no page has to know of it. Whether the server
//! before takes it off already makes no difference.

use super::state::PageState;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderValue, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// What stands before an address in a page. Text of others cannot: its quotation marks are escaped.
const LINKS: [&str; 3] = [" href=\"/", " action=\"/", " src=\"/"];

/// Takes the path off what is asked, and puts it before what is answered.
pub(super) async fn below(
    State(shared): State<Arc<PageState>>,
    mut request: Request,
    next: Next,
) -> Response {
    let web = shared.web();
    let path = web.as_ref().map_or("", |web| web.path());
    if path.is_empty() {
        return next.run(request).await;
    }
    if let Some(uri) = without(path, request.uri()) {
        *request.uri_mut() = uri;
    }
    with(path, next.run(request).await).await
}

/// An address without the path; `None` if it does not begin with it.
fn without(path: &str, uri: &Uri) -> Option<Uri> {
    let rest = uri.path().strip_prefix(path)?;
    let rest = match rest {
        "" => "/",
        rest if rest.starts_with('/') => rest,
        _ => return None,
    };
    let question = uri
        .query()
        .map_or(String::new(), |query| format!("?{query}"));
    format!("{rest}{question}").parse().ok()
}

async fn with(path: &str, response: Response) -> Response {
    let (mut head, body) = response.into_parts();
    let leads_to = head.headers.get(header::LOCATION);
    let leads_to = leads_to.and_then(|to| to.to_str().ok());
    if let Some(to) = leads_to.filter(|to| to.starts_with('/'))
        && let Ok(to) = HeaderValue::from_str(&format!("{path}{to}"))
    {
        head.headers.insert(header::LOCATION, to);
    }
    let kind = head.headers.get(header::CONTENT_TYPE);
    let is_page = kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    if !is_page {
        return Response::from_parts(head, body);
    }
    // It was made here, so it is whole and text.
    let Ok(bytes) = to_bytes(body, usize::MAX).await else {
        return (head, Body::empty()).into_response();
    };
    let text = String::from_utf8_lossy(&bytes);
    let text = LINKS.iter().fold(text.into_owned(), |text, link| {
        text.replace(link, &format!("{}{path}/", link.trim_end_matches('/')))
    });
    head.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(head, Body::from(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_whole_part_of_an_address_is_the_path() {
        let rest = |uri: &'static str| {
            let rest = without("/turf", &Uri::from_static(uri));
            rest.map(|uri| uri.to_string())
        };
        assert_eq!(rest("/turf").as_deref(), Some("/"));
        assert_eq!(rest("/turf/").as_deref(), Some("/"));
        assert_eq!(rest("/turf?day=1").as_deref(), Some("/?day=1"));
        assert_eq!(
            rest("/turf/sites/a?b=/turf").as_deref(),
            Some("/sites/a?b=/turf")
        );
        assert_eq!(rest("/turfgrass/"), None);
        assert_eq!(rest("/sites/turf"), None);
    }
}
