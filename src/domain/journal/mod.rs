//! The journal: what people did and saw at a site, in amounts with units.

pub mod amount;
mod entry;
mod season_use;
mod spray_record;

pub use amount::AmountError;
pub use entry::{Application, Entry, JournalAction, Refusal, check};
pub use season_use::{SeasonUse, season_use};
pub use spray_record::{AirTemperature, RecordError, SprayRecord, WindSpeed};
