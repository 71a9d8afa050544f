//! Dates: the sums of degree-days, missing days, when a stage is reached and when it will be; and
//! the temperature of the soil.

#[path = "../support/mod.rs"]
mod support;

mod biofix;
mod blending;
mod borrowing;
mod calendar_checks;
mod dates_ahead;
mod degree_day_formulas;
mod forecast_archive;
mod forecasts;
mod gap_filling;
mod hourly_checks;
mod milestones;
mod outlook;
mod outside_checks;
mod sightings;
mod soil;
mod sunlit;
