//! Places on the globe and how far they lie apart.

/// Mean radius of the Earth, km: `(2a + b) / 3` of the ellipsoid GRS 80 (International Union of
/// Geodesy and Geophysics).
pub const MEAN_RADIUS_KM: f64 = 6371.0088;

/// A place by its coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    latitude: f64,
    longitude: f64,
}

impl Place {
    /// A place at a latitude from −90 to 90 and a longitude from −180 to 180, in degrees, north and
    /// east positive; `None` for anything else.
    pub fn new(latitude: f64, longitude: f64) -> Option<Self> {
        let on_globe = (-90.0..=90.0).contains(&latitude) && (-180.0..=180.0).contains(&longitude);
        on_globe.then_some(Self {
            latitude,
            longitude,
        })
    }

    /// Latitude, degrees, north positive.
    pub fn latitude(self) -> f64 {
        self.latitude
    }

    /// Longitude, degrees, east positive.
    pub fn longitude(self) -> f64 {
        self.longitude
    }
}

/// The shortest way along the surface.
///
/// # Method
/// Haversine formula on a sphere: `h = hav(Δφ) + cos φ₁ · cos φ₂ · hav(Δλ)` with
/// `hav(x) = sin²(x / 2)`, and the distance `2R · asin(√h)`. It keeps its digits where places lie
/// close together, which the law of cosines does not.
///
/// # Units
/// Degrees in, km out; R is [`MEAN_RADIUS_KM`].
///
/// # Valid range
/// Everywhere; from 0 to half the circumference, 20 015.1 km. The Earth is no sphere: a way along
/// the ellipsoid is longer or shorter by up to 0.56 %.
///
/// # References
/// Sinnott 1984, Sky and Telescope 68(2):159 (title from memory). Held against the worked example
/// of the Aviation Formulary below, and against geodesics on the ellipsoid of WGS 84 by the library
/// geographiclib in `tests/commands/station_finder.rs`.
///
/// # Examples
/// From Los Angeles to New York (33°57′ N 118°24′ W, 40°38′ N 73°47′ W) it is 0.623585 of the
/// sphere's radius.
/// ```
/// use hatchbell::domain::place::globe::{MEAN_RADIUS_KM, Place, great_circle_km};
/// let from = Place::new(33.0 + 57.0 / 60.0, -(118.0 + 24.0 / 60.0)).unwrap();
/// let to = Place::new(40.0 + 38.0 / 60.0, -(73.0 + 47.0 / 60.0)).unwrap();
/// let angle = great_circle_km(from, to) / MEAN_RADIUS_KM;
/// assert!((angle - 0.623585).abs() < 5e-7);
/// ```
pub fn great_circle_km(from: Place, to: Place) -> f64 {
    let (from_phi, to_phi) = (from.latitude.to_radians(), to.latitude.to_radians());
    let haversine = |angle: f64| (angle / 2.0).sin().powi(2);
    let between = haversine(to_phi - from_phi)
        + from_phi.cos() * to_phi.cos() * haversine((to.longitude - from.longitude).to_radians());
    2.0 * MEAN_RADIUS_KM * between.min(1.0).sqrt().asin()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn km(from: (f64, f64), to: (f64, f64)) -> f64 {
        let place = |(latitude, longitude)| Place::new(latitude, longitude).unwrap();
        let there = great_circle_km(place(from), place(to));
        let back = great_circle_km(place(to), place(from));
        assert!((there - back).abs() < 1e-9, "{there} there, {back} back");
        there
    }

    #[test]
    fn parts_of_a_great_circle_are_parts_of_the_circumference() {
        let half = PI * MEAN_RADIUS_KM;
        for (from, to, part) in [
            ((0.0, 0.0), (0.0, 180.0), 1.0),
            ((90.0, 0.0), (-90.0, 77.0), 1.0),
            ((0.0, 20.0), (90.0, -130.0), 0.5),
            ((0.0, 0.0), (0.0, 1.0), 1.0 / 180.0),
            ((60.0, 0.0), (60.0, 180.0), 1.0 / 3.0),
        ] {
            let due = half * part;
            assert!((km(from, to) - due).abs() < 1e-6, "{from:?} {to:?}");
        }
    }

    #[test]
    fn the_date_line_is_no_obstacle() {
        let across = km((-17.0, 179.9), (-17.0, -179.9));
        let elsewhere = km((-17.0, 0.1), (-17.0, -0.1));
        assert!((across - elsewhere).abs() < 1e-6);
    }

    #[test]
    fn a_place_is_no_way_from_itself_and_a_metre_is_not_lost() {
        assert_eq!(km((41.8, -30.1), (41.8, -30.1)), 0.0);
        let metre_of_latitude = 1e-3 / MEAN_RADIUS_KM * 180.0 / PI;
        let metre = km((41.8, -30.1), (41.8 + metre_of_latitude, -30.1));
        assert!((metre - 1e-3).abs() < 1e-9, "{metre}");
    }

    #[test]
    fn what_lies_off_the_globe_is_no_place() {
        for (latitude, longitude) in [(90.1, 0.0), (0.0, -180.1), (f64::NAN, 0.0)] {
            assert!(Place::new(latitude, longitude).is_none());
        }
    }
}
