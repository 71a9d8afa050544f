//! Files that arrive without error and no longer grow.

use crate::domain::place::site::Station;
use crate::domain::telling::feed_trouble::{Finding, STALE_GRACE_DAYS, Trouble, is_stale};
use crate::station_feed::origin::Origin;
use chrono::NaiveDate;

/// A feed that arrives but whose newest day is older than it should be. `newest` is the newest whole
/// day that is stored.
pub fn frozen(
    station: &Station,
    origin: &Origin,
    newest: Option<NaiveDate>,
    today: NaiveDate,
) -> Option<Finding> {
    let newest = newest.filter(|newest| is_stale(station, Some(*newest), today))?;
    let cause = match origin {
        Origin::Url(_) => {
            "The station's id has likely been renamed or retired: services go on serving the old file."
        }
        Origin::File(_) => "Whatever writes the file has likely stopped.",
        Origin::ByHand => return None,
    };
    Some(Finding {
        trouble: Trouble::Frozen,
        what: format!(
            "The file arrives without error, but the newest whole day is {}, {} days ago; up to {} are usual. {cause}",
            newest.format("%-d %B %Y"),
            (today - newest).num_days(),
            i64::from(station.usual_lag_days) + STALE_GRACE_DAYS
        ),
    })
}
