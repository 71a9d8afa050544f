//! Screening what is new, for feeds and imports alike: brings what is stored of a station, of its
//! neighbours and of decisions.

use crate::domain::weather::reading::Readings;
use crate::feed::vetting::screening::{NEIGHBOUR_DAYS, news, screen};
use crate::feed::vetting::{HeldOut, hold_out, leave_out_refused};
use crate::station_feed::StationFeed;
use crate::station_feed::parsed::Element;
use crate::store::taking_in::Said;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};

/// Takes the values of a file out of its readings that are in doubt, or were refused before.
/// `stored` is what the station has already.
pub fn screened(
    store: &Store,
    feed: &StationFeed,
    readings: &mut Readings,
    stored: &Readings,
    now: DateTime<Utc>,
) -> Result<HeldOut, StoreError> {
    let id = &feed.station.id;
    let decided = store.decided_values(id)?;
    leave_out_refused(readings, &decided);
    let before = store.held_values(id)?;
    let news = news(readings, stored, &decided);
    let suspects = match news.first() {
        Some((first, _)) => {
            let neighbours = neighbours_since(store, feed, *first)?;
            screen(&news, readings, stored, &neighbours)
        }
        None => Vec::new(),
    };
    Ok(hold_out(readings, &suspects, &before, now))
}

/// Screens values that are stored already, `new`, with all that is stored by now, and takes those
/// that are in doubt or were refused out again; what was stored before in their place comes back.
pub fn screen_again(
    store: &mut Store,
    feed: &StationFeed,
    new: &[(NaiveDate, Element)],
    before: &Readings,
    now: DateTime<Utc>,
) -> Result<HeldOut, StoreError> {
    let id = &feed.station.id;
    let whole = store.readings(id)?;
    let mut rest = whole.clone();
    let mut brought = Readings::new();
    for (day, element) in new {
        let Some(reading) = whole.get(day) else {
            continue;
        };
        *element.of_mut(brought.entry(*day).or_default()) = element.of(reading);
        *element.of_mut(rest.entry(*day).or_default()) = None;
    }
    let said = brought.clone();
    let held_out = screened(store, feed, &mut brought, &rest, now)?;
    let mut taken_out = Vec::new();
    let mut back = Readings::new();
    for (day, reading) in &said {
        let left = brought.get(day).copied().unwrap_or_default();
        let known = before.get(day).copied().unwrap_or_default();
        for element in [Element::Max, Element::Min] {
            if element.of(reading).is_some() && element.of(&left).is_none() {
                match element.of(&known) {
                    None => taken_out.push((*day, element)),
                    old => *element.of_mut(back.entry(*day).or_default()) = old,
                }
            }
        }
    }
    let said = Said {
        failed: &taken_out,
        ..Said::of_readings(&back)
    };
    store.take_in(id, said, "values held out of an import".to_owned(), now)?;
    store.settle_held(id, &held_out.held, &[], held_out.finding.as_ref(), now)?;
    Ok(held_out)
}

/// The neighbours' days from long enough before the first new one on.
fn neighbours_since(
    store: &Store,
    feed: &StationFeed,
    first: NaiveDate,
) -> Result<Vec<Readings>, StoreError> {
    let since = first
        .checked_sub_days(NEIGHBOUR_DAYS)
        .unwrap_or(NaiveDate::MIN);
    let neighbours = feed.station.neighbours.iter();
    neighbours
        .map(|id| store.readings_since(id, since))
        .collect()
}
