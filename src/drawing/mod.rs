//! Values of [`crate::report`] as drawings in SVG, for the page and for mails. Nothing is decided
//! here, only placed; colours have names, which the page gives in light and in dark.

mod png;
mod season;

pub use png::{NoPicture, season_png};
pub use season::SeasonDrawing;
