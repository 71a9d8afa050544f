//! What a station measured, day by day, and what is made of it: readings and their extremes,
//! degree-days, missing days, several stations as one, the day an observer's reading belongs to,
//! rain, and the temperature of the soil, estimated from that of the air. Beside it what a model
//! foretells, and what a station without a past borrows from others.

pub mod blend;
pub mod borrowed;
pub mod daily_readings;
pub mod degree_day;
pub mod extremes;
pub mod forecast;
pub mod forecast_score;
pub mod forecast_skill;
pub mod foretold_days;
pub mod gap_score;
pub mod gaps;
pub mod normals;
pub mod observation_day;
pub mod rain;
pub mod reading;
pub mod soil;
pub mod sunlit;
pub mod wind;
