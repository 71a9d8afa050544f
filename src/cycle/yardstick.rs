//! What is known when a file of a station comes: what vetting holds it against.

use crate::config::Config;
use crate::feed::vetting::{OtherStation, Yardstick, wanted_of_others};
use crate::station_feed::StationFeed;
use crate::station_feed::dialect::Binding;
use crate::station_feed::origin::Origin;
use crate::station_feed::parsed::Parsed;
use crate::store::{Store, StoreError};

/// The stored days of a station, and those of others where the file must be held against them.
/// `binding` is how the file was read, which may not be how its feed is.
pub fn yardstick(
    store: &Store,
    config: &Config,
    feed: &StationFeed,
    binding: &Binding,
    parsed: &Parsed,
) -> Result<Yardstick, StoreError> {
    let mut known = Yardstick::of(feed, store.readings(&feed.station.id)?);
    let Some(wanted) = wanted_of_others(parsed, binding, &known.stored) else {
        return Ok(known);
    };
    for other in config.stations.values() {
        let id = &other.station.id;
        let is_neighbour = feed.station.neighbours.contains(id);
        if is_twin(feed, other) || (wanted.neighbours_only && !is_neighbour) {
            continue;
        }
        let readings = store.readings_within(id, wanted.first, wanted.last)?;
        if !readings.is_empty() {
            known.others.push(OtherStation {
                id: id.clone(),
                is_neighbour,
                elevation_m: other.station.elevation_m,
                readings,
            });
        }
    }
    Ok(known)
}

/// Whether it is the same station, or one that is read from the same file on purpose.
fn is_twin(feed: &StationFeed, other: &StationFeed) -> bool {
    feed.station.id == other.station.id
        || (feed.origin != Origin::ByHand
            && feed.origin == other.origin
            && feed.binding.code == other.binding.code)
        || (feed.binding.code.is_some() && feed.binding.code == other.binding.code)
}
