//! What a program may ask for beside the address, and its limits.

use super::problem::ProblemDetails;
use axum::extract::rejection::{PathRejection, QueryRejection};
use axum::extract::{FromRequestParts, Path, Query};
use axum::http::request::Parts;
use chrono::{Datelike, NaiveDate};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use utoipa::IntoParams;

/// Years that weather records, and plans, reach to.
const YEARS: std::ops::RangeInclusive<i32> = 1700..=2200;
/// Longest id.
const LONGEST_ID: usize = 64;
/// Most sites in one answer.
const MOST_SITES: usize = 500;

/// The day that is asked about.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct OnDay {
    /// The day that is shown, by the days stored now, in the years 1700 to 2200; today without it.
    #[param(pattern = r"^(1[789]\d\d|2[01]\d\d|2200)-\d\d-\d\d$", format = Date)]
    date: Option<NaiveDate>,
}

/// The season that is asked about.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct OfYear {
    /// The year the season starts in; the running season without it.
    #[param(minimum = 1700, maximum = 2200)]
    year: Option<i32>,
}

/// The part of a list that is asked for.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct ListPart {
    /// The sites after the one of this id, in the order of the list.
    #[param(pattern = "^[a-z0-9-]{1,64}$")]
    after: Option<String>,
    /// How many, at most; 500 without it.
    #[param(minimum = 1, maximum = 500)]
    limit: Option<usize>,
}

/// Nothing is asked for beside the address.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NothingElse {}

/// What is asked for beside the address, within its limits.
pub(super) struct Asking<T>(pub T);

/// The id of a site in an address.
pub(super) struct SiteId(pub String);

/// What has limits that its type does not say.
pub(super) trait Limited {
    /// Why it is not within them.
    fn wrong(&self) -> Option<String>;
}

impl OnDay {
    /// The day asked for, or today.
    pub fn or(&self, today: NaiveDate) -> NaiveDate {
        self.date.unwrap_or(today)
    }
}

impl OfYear {
    /// The year asked for.
    pub fn year(&self) -> Option<i32> {
        self.year
    }
}

impl ListPart {
    /// The site that the part begins after.
    pub fn after(&self) -> Option<&str> {
        self.after.as_deref()
    }

    /// How many at most.
    pub fn limit(&self) -> usize {
        self.limit.unwrap_or(MOST_SITES)
    }
}

impl Limited for OnDay {
    fn wrong(&self) -> Option<String> {
        let is_far = self.date.is_some_and(|day| !YEARS.contains(&day.year()));
        is_far.then(|| format!("date: give one of {} to {}", YEARS.start(), YEARS.end()))
    }
}

impl Limited for OfYear {
    fn wrong(&self) -> Option<String> {
        let is_far = self.year.is_some_and(|year| !YEARS.contains(&year));
        is_far.then(|| format!("year: give one of {} to {}", YEARS.start(), YEARS.end()))
    }
}

impl Limited for ListPart {
    fn wrong(&self) -> Option<String> {
        if self
            .limit
            .is_some_and(|limit| !(1..=MOST_SITES).contains(&limit))
        {
            return Some(format!("limit: give 1 to {MOST_SITES}"));
        }
        let is_no_id = self.after.as_ref().is_some_and(|id| !is_id(id));
        is_no_id.then(|| "after: give the id of a site".to_owned())
    }
}

impl Limited for NothingElse {
    fn wrong(&self) -> Option<String> {
        None
    }
}

/// Whether it can be an id of the configuration.
fn is_id(text: &str) -> bool {
    let may_stand = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
    (1..=LONGEST_ID).contains(&text.len()) && text.bytes().all(may_stand)
}

impl<T: DeserializeOwned + Limited, S: Send + Sync> FromRequestParts<S> for Asking<T> {
    type Rejection = ProblemDetails;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, ProblemDetails> {
        let read = Query::<T>::from_request_parts(parts, state).await;
        let Query(asked) =
            read.map_err(|why: QueryRejection| ProblemDetails::bad_question(why.body_text()))?;
        match asked.wrong() {
            Some(why) => Err(ProblemDetails::bad_question(why)),
            None => Ok(Self(asked)),
        }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for SiteId {
    type Rejection = ProblemDetails;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, ProblemDetails> {
        let read = Path::<String>::from_request_parts(parts, state).await;
        let Path(site) =
            read.map_err(|why: PathRejection| ProblemDetails::bad_question(why.body_text()))?;
        Ok(Self(site))
    }
}
