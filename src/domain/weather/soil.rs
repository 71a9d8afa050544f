//! The temperature of the soil, estimated from that of the air.

/// The weight of a day in the running mean of the air.
const WEIGHT: f64 = 0.25;

/// Soil temperature at 10 cm under turf, °C, at the end of each day, estimated from daily mean air
/// temperatures, °C, of consecutive days.
///
/// ```
/// use hatchbell::domain::weather::soil::soil_temperatures;
/// let soil = soil_temperatures([10.0; 30]);
/// assert!((soil[29] - 11.5).abs() < 0.05);
/// ```
pub fn soil_temperatures(air_means: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut running: Option<f64> = None;
    air_means
        .into_iter()
        .map(|air| {
            let mean = running.map_or(air, |before| before + WEIGHT * (air - before));
            running = Some(mean);
            2.6 + 0.89 * mean
        })
        .collect()
}

/// Mean of each day and the six before it (fewer at the start), °C.
pub fn weekly_means(soil: &[f64]) -> Vec<f64> {
    (0..soil.len())
        .map(|last| {
            let week = &soil[last.saturating_sub(6)..=last];
            week.iter().sum::<f64>() / week.len() as f64
        })
        .collect()
}
