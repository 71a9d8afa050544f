//! Treatment: the options and which a site would use, whether to treat at all, what each day of
//! application meets, the steps people take, and watering in.

pub mod choice;
pub mod coverage;
pub mod digging;
pub mod due;
pub mod hatching;
mod kit;
pub mod need;
pub mod option;
pub mod planned;
pub mod rating;
pub mod served;
pub mod settled;
pub mod site_need;
pub mod site_plan;
pub mod steps;
pub mod watering;
pub mod weather_ahead;
mod window_search;
mod worked_out;
