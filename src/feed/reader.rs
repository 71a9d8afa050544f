//! From a station's feed to readings: fetch, parse, vet.

use super::Rejection;
use super::ahead::{Ahead, Request};
use super::fetch::{FetchError, Fetched, Fetcher, read_file};
use super::limits::MOST_BYTES;
use super::normals;
use super::parse::parse;
use super::table::{of_origin, open};
use super::unpack::unpacked;
use super::vetting::{Yardstick, unit_was_corrected, vet, vet_alone};
use crate::domain::telling::feed_trouble::STALE_GRACE_DAYS;
use crate::domain::weather::normals::Normals;
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::Readings;
use crate::station_feed::dialect::{Binding, Dialect};
use crate::station_feed::memory::FileProfile;
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::{Element, Parsed};
use crate::station_feed::refusal::RefusedRow;
use crate::station_feed::version::Validators;
use crate::station_feed::{ForecastFeed, StationFeed};
use chrono::{Datelike, Days, NaiveDate};
use std::collections::{BTreeMap, HashMap};
use std::path::Path;
use std::sync::Arc;

/// Where readings come from.
pub struct FeedReader {
    fetcher: Arc<Fetcher>,
    /// In a demonstration or a replay: the files are whole, and this many days behind the clock
    /// they are shown.
    shown_with_lag: Option<u32>,
    kept: HashMap<String, Kept>,
}

/// A file that is shown day by day.
struct Kept {
    /// Not shown yet.
    readings: Readings,
    rain: Rain,
}

/// What a feed gave.
#[derive(Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "there is one at a time, and it is taken apart at once"
)]
pub enum FetchOutcome {
    /// Nothing new since last time.
    Unchanged,
    /// Readings to merge.
    Readings {
        /// Readings by day.
        readings: Readings,
        /// What was stored when they arrived; empty where it is no measure for them.
        stored: Readings,
        /// Rain by day.
        rain: Rain,
        /// Values that failed the publisher's quality check.
        failed: Vec<(NaiveDate, Element)>,
        /// Rows refused alone.
        refused: Vec<RefusedRow>,
        /// To ask for changes only, next time.
        validators: Validators,
        /// What the file looked like; none in a demonstration or replay, where a part is shown.
        profile: Option<FileProfile>,
    },
}

/// Why a feed gave nothing.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// The bytes did not arrive.
    #[error("{0}")]
    Fetch(#[from] FetchError),
    /// They arrived and were refused as a whole.
    #[error("{origin}, {rejection}")]
    Refused {
        /// File, or host and path.
        origin: String,
        /// Why.
        rejection: Rejection,
    },
}

impl FeedReader {
    /// A reader by a fetcher. `shown_with_lag` is for demonstrations and replays, where files hold
    /// days that are yet to come.
    pub fn new(fetcher: Fetcher, shown_with_lag: Option<u32>) -> Self {
        Self {
            fetcher: Arc::new(fetcher),
            shown_with_lag,
            kept: HashMap::new(),
        }
    }

    /// Shows files day by day, this many days behind the clock.
    pub fn show_with_lag(&mut self, lag: u32) {
        self.shown_with_lag = Some(lag);
    }

    /// Readings and rain that take the place of a station's file in a replay.
    pub fn keep(&mut self, station: &str, readings: Readings, rain: Rain) {
        self.kept
            .insert(station.to_owned(), Kept { readings, rain });
    }

    /// Reads a station's feed. `version` are the validators of the version that is stored; `known`
    /// loads what a file is held against; it is called only if one arrives.
    ///
    /// # Errors
    /// What `known` fails with; within, [`IntakeError`] if the file did not arrive or was refused.
    pub async fn read<E>(
        &mut self,
        feed: &StationFeed,
        version: &Validators,
        known: impl FnOnce(&Parsed) -> Result<Yardstick, E>,
        today: NaiveDate,
    ) -> Result<Result<FetchOutcome, IntakeError>, E> {
        match self.request(feed, version, today) {
            None => Ok(self.read_kept(feed, today).await),
            Some(Request {
                origin,
                known: version,
            }) => {
                let fetched = self.fetcher.fetch(&origin, &version).await;
                self.read_fetched(feed, fetched, known, today)
            }
        }
    }

    /// What is to be fetched of a station's feed; nothing where files are shown day by day.
    pub fn request(
        &self,
        feed: &StationFeed,
        version: &Validators,
        today: NaiveDate,
    ) -> Option<Request> {
        // What is known of one year's file says nothing of the next one's.
        let known = match feed.origin.is_yearly() {
            true => Validators::default(),
            false => version.clone(),
        };
        self.shown_with_lag.is_none().then(|| Request {
            origin: of_the_year(feed, today),
            known,
        })
    }

    /// What is to be fetched of a forecast; nothing where files are shown day by day.
    pub fn forecast_request(&self, forecast: &ForecastFeed) -> Option<Request> {
        self.shown_with_lag.is_none().then(|| Request {
            origin: forecast.origin.clone(),
            known: Validators::default(),
        })
    }

    /// Fetches ahead of their turn.
    pub fn ahead(&self, requests: impl IntoIterator<Item = (usize, Request)>) -> Ahead {
        Ahead::new(Arc::clone(&self.fetcher), requests)
    }

    /// Reads what was fetched of a station's feed.
    ///
    /// # Errors
    /// As [`FeedReader::read`].
    pub fn read_fetched<E>(
        &self,
        feed: &StationFeed,
        fetched: Result<Fetched, FetchError>,
        known: impl FnOnce(&Parsed) -> Result<Yardstick, E>,
        today: NaiveDate,
    ) -> Result<Result<FetchOutcome, IntakeError>, E> {
        let origin = of_the_year(feed, today);
        let (bytes, validators, elsewhere) = match fetched {
            Ok(Fetched::Body {
                bytes,
                validators,
                elsewhere,
            }) => (bytes, validators, elsewhere),
            Ok(Fetched::NotModified) => return Ok(Ok(FetchOutcome::Unchanged)),
            Err(error) => return Ok(Err(error.into())),
        };
        let refused = |rejection| refused(&origin, elsewhere.as_deref(), rejection);
        let parsed = match parse(&bytes, &feed.binding, today) {
            Ok(parsed) => parsed,
            Err(rejection) => return Ok(Err(refused(rejection))),
        };
        let known = known(&parsed)?;
        if let Err(rejection) = vet(&parsed, &feed.binding, &known) {
            return Ok(Err(refused(rejection)));
        }
        let stored = match unit_was_corrected(&parsed, &feed.binding, &known) {
            true => Readings::new(),
            false => known.stored,
        };
        // What changes of a header is told with its names.
        let header = match elsewhere {
            Some(_) => Vec::new(),
            None => header_of(&bytes, &feed.binding.dialect),
        };
        // Days that are still moving are asked for again.
        let validators = if parsed.provisional > 0 {
            Validators::default()
        } else {
            validators
        };
        Ok(Ok(FetchOutcome::Readings {
            profile: Some(FileProfile::of(&parsed, header)),
            readings: parsed.readings,
            stored,
            rain: parsed.rain,
            failed: parsed.failed,
            refused: unquoted(parsed.refused, elsewhere.is_some()),
            validators,
        }))
    }

    /// Reads what was fetched of a forecast: a model's days, past and to come. In a demonstration or
    /// replay there is none, because nobody knows what it would have said.
    ///
    /// # Errors
    /// [`IntakeError`] if the file did not arrive or was refused.
    pub fn read_forecast(
        &self,
        forecast: &ForecastFeed,
        fetched: Result<Fetched, FetchError>,
    ) -> Result<Option<Parsed>, IntakeError> {
        let Fetched::Body {
            bytes, elsewhere, ..
        } = fetched?
        else {
            return Ok(None);
        };
        let parsed = looked_at(&forecast.origin, elsewhere, &forecast.binding, &bytes)?;
        Ok(Some(parsed))
    }

    /// What a station's feed says, read as if nothing were known of it and left alone. `None` if
    /// nobody is to be asked.
    ///
    /// # Errors
    /// [`IntakeError`] if the file did not arrive or was refused.
    pub async fn look(
        &self,
        feed: &StationFeed,
        today: NaiveDate,
    ) -> Result<Option<Parsed>, IntakeError> {
        let origin = of_the_year(feed, today);
        let known = Validators::default();
        let Fetched::Body {
            bytes, elsewhere, ..
        } = self.fetcher.fetch(&origin, &known).await?
        else {
            return Ok(None);
        };
        looked_at(&origin, elsewhere, &feed.binding, &bytes).map(Some)
    }

    /// What a station's forecast says, likewise.
    ///
    /// # Errors
    /// [`IntakeError`] if the file did not arrive or was refused.
    pub async fn look_ahead(&self, forecast: &ForecastFeed) -> Result<Option<Parsed>, IntakeError> {
        let known = Validators::default();
        let fetched = self.fetcher.fetch(&forecast.origin, &known).await;
        self.read_forecast(forecast, fetched)
    }

    /// The days of a whole file that its feed would have published by now and that were not shown
    /// before.
    ///
    /// # Errors
    /// [`IntakeError`] if the file did not arrive or was refused.
    pub async fn read_kept(
        &mut self,
        feed: &StationFeed,
        today: NaiveDate,
    ) -> Result<FetchOutcome, IntakeError> {
        let id = &feed.station.id;
        let lag = self.shown_with_lag.unwrap_or_default();
        let newest = today - Days::new(u64::from(lag));
        let mut refused = Vec::new();
        if !self.kept.contains_key(id) {
            let fetched = self
                .fetcher
                .fetch(&feed.origin, &Validators::default())
                .await?;
            let Fetched::Body {
                bytes, elsewhere, ..
            } = fetched
            else {
                return Ok(FetchOutcome::Unchanged);
            };
            let parsed = looked_at(&feed.origin, elsewhere, &feed.binding, &bytes)?;
            refused = parsed.refused;
            self.keep(id, parsed.readings, parsed.rain);
        }
        let Some(kept) = self.kept.get_mut(id) else {
            return Ok(FetchOutcome::Unchanged);
        };
        Ok(FetchOutcome::Readings {
            readings: taken_through(&mut kept.readings, newest),
            stored: Readings::new(),
            rain: taken_through(&mut kept.rain, newest),
            failed: Vec::new(),
            refused,
            // Only a part is shown, so nobody may take the file for known.
            validators: Validators::default(),
            profile: None,
        })
    }
}

/// Takes the days up to `newest`; the later ones stay.
fn taken_through<T>(
    days: &mut BTreeMap<NaiveDate, T>,
    newest: NaiveDate,
) -> BTreeMap<NaiveDate, T> {
    let later = days.split_off(&(newest + Days::new(1)));
    std::mem::replace(days, later)
}

/// Where a station's file is today. An address with a year moves on to the new one as late as it can
/// before the station counts as stale, so that the last days of the old one still arrive.
fn of_the_year(feed: &StationFeed, today: NaiveDate) -> Origin {
    let wait = u64::from(feed.station.usual_lag_days) + STALE_GRACE_DAYS.unsigned_abs();
    feed.origin.in_year((today - Days::new(wait)).year())
}

/// The names of a file's columns; none if there are none.
fn header_of(bytes: &[u8], dialect: &Dialect) -> Vec<String> {
    unpacked(bytes, dialect)
        .and_then(|text| Ok(open(&text, dialect)?.names()))
        .unwrap_or_default()
}

/// Parses and vets a body whose days may lie ahead and are held against nothing that is stored.
fn looked_at(
    origin: &Origin,
    elsewhere: Option<String>,
    binding: &Binding,
    bytes: &[u8],
) -> Result<Parsed, IntakeError> {
    let mut parsed = parse(bytes, binding, last_day_of_all())
        .and_then(|parsed| vet_alone(&parsed, binding).map(|()| parsed))
        .map_err(|rejection| refused(origin, elsewhere.as_deref(), rejection))?;
    parsed.refused = unquoted(parsed.refused, elsewhere.is_some());
    Ok(parsed)
}

/// What a station's file on this machine says.
///
/// # Errors
/// [`IntakeError`] if it cannot be read or would be refused.
pub fn look_at_file(path: &Path, binding: &Binding) -> Result<Parsed, IntakeError> {
    let bytes = read_file(path, MOST_BYTES)?;
    looked_at(&Origin::File(path.to_owned()), None, binding, &bytes)
}

/// Reads a file of daily normals.
///
/// # Errors
/// [`IntakeError`] if it cannot be read or holds no daily normals.
pub fn read_normals(path: &Path) -> Result<Normals, IntakeError> {
    let bytes = read_file(path, MOST_BYTES)?;
    let origin = Origin::File(path.to_owned());
    normals::parse(&bytes).map_err(|rejection| refused(&origin, None, rejection))
}

/// Why a file was refused. What another host than the configured one said is not repeated: a
/// redirect could make hatchbell tell people what was never meant for them.
fn refused(origin: &Origin, elsewhere: Option<&str>, rejection: Rejection) -> IntakeError {
    let rejection = of_origin(rejection, matches!(origin, Origin::File(_)));
    let origin = origin.to_string();
    let Some(place) = elsewhere else {
        return IntakeError::Refused { origin, rejection };
    };
    IntakeError::Refused {
        origin: format!("{origin} (redirected to {place})"),
        rejection: Rejection {
            line: rejection.line,
            ..Rejection::whole(
                "this is no file that can be taken in; what is in it is not repeated, because another host than the configured one sent it",
                "look at the address in a browser and configure the one it leads to, if that is right",
            )
        },
    }
}

/// Refused rows without their fields, if those came from another host than the configured one.
fn unquoted(mut rows: Vec<RefusedRow>, is_from_elsewhere: bool) -> Vec<RefusedRow> {
    if is_from_elsewhere {
        for row in &mut rows {
            row.field = "from another host, not repeated".to_owned();
        }
    }
    rows
}

/// A day after every day of a file.
fn last_day_of_all() -> NaiveDate {
    NaiveDate::from_ymd_opt(9999, 1, 1).expect("a date")
}
