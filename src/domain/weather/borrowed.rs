//! Days before a station's record began, borrowed from stations nearby.
//!
//! A new sensor in a garden has no past. Its neighbours have, and differ from it by what can be seen
//! in the days that both have: month by month, minimum and maximum apart.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::gaps::{LAPSE_C_PER_M, Neighbour};
use crate::domain::weather::reading::Reading;
use chrono::{Datelike, NaiveDate};

/// Common days that weigh as much as the assumption that a month is like the year, and the year like the
/// neighbour's. A choice: with half or twice of it the dates hardly change.
pub const DAYS_OF_ASSUMPTION: f64 = 30.0;

/// A record with borrowed days before its own.
#[derive(Debug, Clone, PartialEq)]
pub struct ExtendedBack {
    /// Borrowed days, then the station's own.
    pub readings: DailyReadings,
    /// The first of its own.
    pub own_from: NaiveDate,
    /// The stations that lent.
    pub lenders: Vec<LentDays>,
}

/// The days that a station lent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LentDays {
    /// Its place in the list of neighbours.
    pub place: usize,
    /// How many days.
    pub days: usize,
    /// What was added to its minima and maxima in the middle of each month, °C.
    pub added: MonthlyOffsets,
}

/// Puts the days of neighbours before a record.
///
/// # Method
/// What the station's minima and maxima are above a neighbour's is averaged by month over the days that
/// both have. The mean of a month is drawn towards that of all days, and that towards what the
/// difference of height lets one expect (0 where it is unknown), each as if [`DAYS_OF_ASSUMPTION`] days had said so;
/// between the middles of months it runs in straight lines. A day before the record is the mean of the
/// neighbours that have it, each corrected so. What a neighbour has borrowed itself is not lent on: only measured
/// days are.
///
/// # Units
/// °C.
///
/// # Valid range
/// `None` without a day of one's own, or where no neighbour reaches further back. Measured with the
/// history of stations hidden; DEVELOPERS.md has what it costs.
///
/// # References
/// Correction by monthly mean differences: common practice in climatology, no single source.
pub fn extended_back(own: &DailyReadings, neighbours: &[Neighbour<'_>]) -> Option<ExtendedBack> {
    let own_from = own.first_day()?;
    let before = own_from.pred_opt()?;
    let lenders: Vec<(usize, &DailyReadings, MonthlyOffsets)> = neighbours
        .iter()
        .enumerate()
        .filter(|(_, one)| {
            one.readings
                .first_day()
                .is_some_and(|first| first < own_from)
        })
        .map(|(place, one)| (place, one.readings, MonthlyOffsets::between(own, one)))
        .collect();
    let oldest = lenders
        .iter()
        .filter_map(|(_, days, _)| days.first_day())
        .min()?;
    let mut lent = vec![0; neighbours.len()];
    let days = oldest.iter_days().take_while(|day| *day <= before);
    let borrowed: Vec<(NaiveDate, Reading)> = days
        .map(|day| (day, mean_of(&lenders, day, &mut lent)))
        .collect();
    Some(ExtendedBack {
        readings: borrowed.into_iter().chain(own.iter()).collect(),
        own_from,
        lenders: lenders
            .iter()
            .map(|(place, _, added)| LentDays {
                place: *place,
                days: lent[*place],
                added: *added,
            })
            .filter(|lender| lender.days > 0)
            .collect(),
    })
}

/// The mean of those who have the day, each corrected; nothing where nobody has it.
fn mean_of(
    lenders: &[(usize, &DailyReadings, MonthlyOffsets)],
    day: NaiveDate,
    lent: &mut [usize],
) -> Reading {
    let (mut min, mut max, mut count) = (0.0, 0.0, 0.0);
    for (place, days, offsets) in lenders {
        if let Some(extremes) = days.extremes(day) {
            let (add_min, add_max) = offsets.on(day);
            min += extremes.min() + add_min;
            max += extremes.max() + add_max;
            count += 1.0;
            lent[*place] += 1;
        }
    }
    if count == 0.0 {
        return Reading::default();
    }
    let (min, max) = (min / count, max / count);
    Reading {
        min: Some(min.min(max)),
        max: Some(max.max(min)),
    }
}

/// What is added to a neighbour's minimum and maximum in the middle of each month, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthlyOffsets(pub [(f64, f64); 12]);

impl MonthlyOffsets {
    fn between(own: &DailyReadings, neighbour: &Neighbour<'_>) -> Self {
        let by_height = neighbour.height_above_m.unwrap_or(0.0) * LAPSE_C_PER_M;
        let mut sums = [(0.0, 0.0, 0.0); 12];
        for (day, own, other) in own.overlap(neighbour.readings) {
            if let Some((own, other)) = own.extremes().zip(other.extremes()) {
                let (min, max, days) = &mut sums[day.month0() as usize];
                *min += own.min() - other.min();
                *max += own.max() - other.max();
                *days += 1.0;
            }
        }
        let all = sums.iter().fold((0.0, 0.0, 0.0), |all, month| {
            (all.0 + month.0, all.1 + month.1, all.2 + month.2)
        });
        let drawn = |sum: f64, days: f64, towards: f64| {
            (sum + DAYS_OF_ASSUMPTION * towards) / (days + DAYS_OF_ASSUMPTION)
        };
        let (min, max) = (
            drawn(all.0, all.2, by_height),
            drawn(all.1, all.2, by_height),
        );
        Self(sums.map(|month| (drawn(month.0, month.2, min), drawn(month.1, month.2, max))))
    }

    /// On a day, between the middles of the months beside it.
    fn on(&self, day: NaiveDate) -> (f64, f64) {
        let month = day.month0() as usize;
        let past_middle = (f64::from(day.day()) - 15.5) / 30.5;
        let (from, to, share) = if past_middle < 0.0 {
            ((month + 11) % 12, month, 1.0 + past_middle)
        } else {
            (month, (month + 1) % 12, past_middle)
        };
        let (a, b) = (self.0[from], self.0[to]);
        (a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Days with extremes around a mean that the day decides.
    fn days(from: &str, to: &str, mean: impl Fn(NaiveDate) -> f64) -> DailyReadings {
        let to = date(to);
        date(from)
            .iter_days()
            .take_while(|day| *day <= to)
            .map(|day| {
                let mean = mean(day);
                (
                    day,
                    Reading {
                        min: Some(mean - 5.0),
                        max: Some(mean + 5.0),
                    },
                )
            })
            .collect()
    }

    fn neighbour(readings: &DailyReadings) -> Neighbour<'_> {
        Neighbour {
            readings,
            height_above_m: None,
        }
    }

    fn mean(readings: &DailyReadings, day: &str) -> f64 {
        let day = readings.extremes(date(day)).unwrap();
        f64::midpoint(day.min(), day.max())
    }

    #[test]
    fn days_before_the_record_are_the_neighbour_s_by_how_much_the_station_is_warmer() {
        let there = days("2000-01-01", "2026-06-30", |_| 10.0);
        let own = days("2016-07-01", "2026-06-30", |_| 13.0);
        let extended = extended_back(&own, &[neighbour(&there)]).unwrap();
        // Ten years have said so, thirty days' assumption speaks against it.
        assert!((mean(&extended.readings, "2005-04-03") - 13.0).abs() < 0.3);
        assert_eq!(mean(&extended.readings, "2016-07-01"), 13.0, "its own");
        assert_eq!(extended.own_from, date("2016-07-01"));
        assert_eq!(extended.readings.first_day(), Some(date("2000-01-01")));
        let [lender] = extended.lenders.as_slice() else {
            panic!("one lender");
        };
        assert_eq!((lender.place, lender.days), (0, 6026));
        for (min, max) in lender.added.0 {
            assert!(
                (min - 3.0).abs() < 0.3 && (max - 3.0).abs() < 0.3,
                "{min} {max}"
            );
        }
    }

    /// Of 30 common days in June, all of them 3 °C warmer: the year is drawn half way to no difference, 1.5,
    /// and June half way to that, 2.25. November is the year's 1.5.
    #[test]
    fn few_common_days_are_believed_half_and_other_months_less() {
        let there = days("2020-01-01", "2026-06-30", |_| 10.0);
        let own = days("2026-06-01", "2026-06-30", |_| 13.0);
        let extended = extended_back(&own, &[neighbour(&there)]).unwrap();
        assert!((mean(&extended.readings, "2025-11-20") - 11.5).abs() < 1e-9);
        let june = mean(&extended.readings, "2025-06-15") - 10.0;
        assert!((june - 2.25).abs() < 0.02, "{june}");
    }

    #[test]
    fn minimum_and_maximum_and_the_months_differ_each_for_themselves() {
        let there = days("2000-01-01", "2026-06-30", |_| 10.0);
        // In summer the station is warmer by 4, in winter colder by 2.
        let own = days("2010-01-01", "2026-06-30", |day| {
            if (5..=9).contains(&day.month()) {
                14.0
            } else {
                8.0
            }
        });
        let extended = extended_back(&own, &[neighbour(&there)]).unwrap();
        assert!((mean(&extended.readings, "2005-07-15") - 14.0).abs() < 0.4);
        assert!((mean(&extended.readings, "2005-01-15") - 8.0).abs() < 0.4);
        let narrow: DailyReadings = own
            .iter()
            .map(|(day, reading)| {
                (
                    day,
                    Reading {
                        min: reading.min.map(|min| min + 2.0),
                        ..reading
                    },
                )
            })
            .collect();
        let extended = extended_back(&narrow, &[neighbour(&there)]).unwrap();
        let day = extended.readings.extremes(date("2005-07-15")).unwrap();
        assert!((day.max() - day.min() - 8.0).abs() < 0.2);
    }

    #[test]
    fn without_common_days_the_height_says_what_it_can() {
        let there = days("2000-01-01", "2020-12-31", |_| 10.0);
        let own = days("2026-06-01", "2026-06-30", |_| 13.0);
        let lower = Neighbour {
            readings: &there,
            height_above_m: Some(200.0),
        };
        let extended = extended_back(&own, &[lower]).unwrap();
        assert!((mean(&extended.readings, "2015-06-15") - 11.3).abs() < 1e-9);
    }

    #[test]
    fn a_day_is_the_mean_of_those_who_have_it_and_missing_where_nobody_has() {
        let mut one = days("2000-01-01", "2026-06-30", |_| 10.0);
        let mut two = days("2010-01-01", "2026-06-30", |_| 14.0);
        one.set(date("2012-03-03"), Reading::default());
        two.set(date("2012-03-03"), Reading::default());
        two.set(date("2012-03-04"), Reading::default());
        let own = days("2026-06-30", "2026-06-30", |_| 12.0);
        let extended = extended_back(&own, &[neighbour(&one), neighbour(&two)]).unwrap();
        let at = |day: &str| extended.readings.extremes(date(day));
        assert!((mean(&extended.readings, "2012-03-05") - 12.0).abs() < 1e-6);
        assert!((mean(&extended.readings, "2012-03-04") - 10.0).abs() < 0.1);
        assert_eq!(at("2012-03-03"), None);
    }

    #[test]
    fn nobody_lends_to_a_record_that_reaches_back_as_far_or_is_empty() {
        let there = days("2000-01-01", "2026-06-30", |_| 10.0);
        assert!(extended_back(&there, &[neighbour(&there)]).is_none());
        assert!(extended_back(&DailyReadings::default(), &[neighbour(&there)]).is_none());
        assert!(extended_back(&there, &[]).is_none());
    }
}
