//! Which address shows what, and what every answer says to the browser.

use super::admission::{admit, own_host_only};
use super::answers::NoPage;
use super::api::{api, api_paths};
use super::below::below;
use super::capability::{calendar, send_again, stop, stop_page, task, tasks};
use super::entries::{enter, journal, not_now, records};
use super::health::{healthz, livez, readyz};
use super::metrics::metrics;
use super::notices::{NOTICES, end, notices, script, turn_on, worker};
use super::overview::overview;
use super::sign_in::{ask_for_link, link, sent, sign_in, sign_out, take_link};
use super::site::site;
use super::state::PageState;
use axum::Router;
use axum::handler::Handler;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::MethodRouter;
use std::any::Any;
use std::borrow::Cow;
use std::sync::Arc;
use std::time::Duration;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;

/// Longest time for an answer.
const PATIENCE: Duration = Duration::from_secs(20);
/// Most bytes of a form.
pub(super) const MOST_BYTES: usize = 64 * 1024;

/// What a browser may do with a page: nothing but show it and send its own forms. One page says otherwise.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const ICON: &str = include_str!("templates/icon.svg");
const STYLE: &str = include_str!("templates/style.css");

/// An address with what answers there.
struct Route {
    address: PageAddress,
    answers: MethodRouter<Arc<PageState>>,
}

/// An address of the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageAddress {
    /// Its path; parts in braces stand for any text.
    pub path: Cow<'static, str>,
    /// Its methods.
    pub methods: Vec<&'static str>,
    /// Whether it is also for those who have no key.
    pub admits_strangers: bool,
}

impl Route {
    /// An address for viewers.
    fn at(path: &'static str) -> Self {
        Self {
            address: PageAddress {
                path: Cow::Borrowed(path),
                methods: Vec::new(),
                admits_strangers: false,
            },
            answers: MethodRouter::new(),
        }
    }

    fn get<H: Handler<T, Arc<PageState>>, T: 'static>(mut self, handler: H) -> Self {
        self.address.methods.push("GET");
        self.answers = self.answers.get(handler);
        self
    }

    fn post<H: Handler<T, Arc<PageState>>, T: 'static>(mut self, handler: H) -> Self {
        self.address.methods.push("POST");
        self.answers = self.answers.post(handler);
        self
    }

    /// Opens it to everybody. Who asks is then for its handlers to find out.
    fn for_strangers(mut self) -> Self {
        self.address.admits_strangers = true;
        self
    }
}

/// Below it lie the addresses for programs.
pub(super) const PROGRAMS: &str = "/api/v1";

/// Every address there is, but those for programs.
fn all() -> Vec<Route> {
    vec![
        Route::at("/").get(overview),
        Route::at("/sites/{site}").get(site),
        Route::at("/sign-out").post(sign_out),
        Route::at("/sign-in")
            .get(sign_in)
            .post(ask_for_link)
            .for_strangers(),
        Route::at("/sign-in/sent").get(sent).for_strangers(),
        Route::at("/sign-in/{link}")
            .get(link)
            .post(take_link)
            .for_strangers(),
        Route::at(NOTICES).get(notices).post(turn_on),
        Route::at("/notices/{number}/end").post(end),
        Route::at("/notices.js").get(script).for_strangers(),
        Route::at("/notices-worker.js").get(worker).for_strangers(),
        Route::at("/style.css").get(style).for_strangers(),
        Route::at("/icon.svg").get(icon).for_strangers(),
        // Who has one of these addresses has its key.
        Route::at("/task/{message}/{site}/{key}")
            .get(task)
            .for_strangers(),
        Route::at("/tasks/{message}/{key}")
            .get(tasks)
            .for_strangers(),
        Route::at("/calendar/{recipient}/{key}")
            .get(calendar)
            .for_strangers(),
        Route::at("/stop-mail/{recipient}/{key}")
            .get(stop_page)
            .post(stop)
            .for_strangers(),
        Route::at("/stop-mail/{recipient}/{key}/undo")
            .post(send_again)
            .for_strangers(),
        Route::at("/sites/{site}/enter/{kind}")
            .get(enter::blank)
            .post(enter::take),
        Route::at("/sites/{site}/journal").get(journal::journal),
        Route::at("/sites/{site}/journal/{number}")
            .get(enter::filled)
            .post(enter::correct),
        Route::at("/sites/{site}/journal/{number}/take-back").post(journal::take_back),
        Route::at("/sites/{site}/show-again").post(not_now::show_again),
        Route::at("/sites/{site}/records/{file}").get(records::records),
        Route::at("/not-now").post(not_now::put_off),
        Route::at("/metrics").get(metrics),
        Route::at("/livez").get(livez).for_strangers(),
        Route::at("/readyz").get(readyz).for_strangers(),
        Route::at("/healthz").get(healthz).for_strangers(),
    ]
}

/// Every address with its methods.
pub fn addresses() -> Vec<PageAddress> {
    let programs = api_paths().into_iter().map(|path| PageAddress {
        path: format!("{PROGRAMS}{path}").into(),
        methods: vec!["GET"],
        admits_strangers: false,
    });
    let pages = all().into_iter().map(|route| route.address);
    pages.chain(programs).collect()
}

/// The page. Whatever is not opened to strangers, also what does not exist, is for viewers.
pub(super) fn routes(shared: Arc<PageState>) -> Router {
    let (mut open, mut for_viewers) = (Router::new(), Router::new());
    for Route { address, answers } in all() {
        match address.admits_strangers {
            true => open = open.route(&address.path, answers),
            false => for_viewers = for_viewers.route(&address.path, answers),
        }
    }
    let all = for_viewers
        .nest(PROGRAMS, api())
        .fallback(async || NoPage::NotFound)
        .layer(from_fn_with_state(Arc::clone(&shared), admit))
        .merge(open)
        .layer(from_fn_with_state(Arc::clone(&shared), own_host_only))
        .with_state(Arc::clone(&shared))
        .layer(RequestBodyLimitLayer::new(MOST_BYTES))
        .layer(TimeoutLayer::with_status_code(
            StatusCode::SERVICE_UNAVAILABLE,
            PATIENCE,
        ))
        .layer(CatchPanicLayer::custom(fault))
        .layer(unless_set(header::CONTENT_SECURITY_POLICY, POLICY))
        .layer(header_of(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .layer(header_of(header::REFERRER_POLICY, "same-origin"))
        .layer(unless_set(header::CACHE_CONTROL, "private, no-cache"));
    // Before it is looked up what answers at an address.
    Router::new()
        .fallback_service(all)
        .layer(from_fn_with_state(shared, below))
}

fn header_of(name: HeaderName, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::overriding(name, HeaderValue::from_static(value))
}

fn unless_set(name: HeaderName, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value))
}

async fn style() -> impl IntoResponse {
    let headers = [
        (header::CONTENT_TYPE, "text/css; charset=utf-8"),
        (header::CACHE_CONTROL, "private, max-age=3600"),
    ];
    (headers, STYLE)
}

async fn icon() -> impl IntoResponse {
    let headers = [
        (header::CONTENT_TYPE, "image/svg+xml"),
        (header::CACHE_CONTROL, "private, max-age=86400"),
    ];
    (headers, ICON)
}

/// What a panic ends in. Its words are in the journal already.
fn fault(_: Box<dyn Any + Send>) -> Response {
    NoPage::Fault("a fault in the program".to_owned()).into_response()
}
