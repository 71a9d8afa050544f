//! The days on which the members of an ensemble reach a threshold, as shares of all of them.

/// Whole days of a season with their shares.
pub(super) struct DateSample {
    /// Day and the share of the sample up to and including it, rising.
    days: Vec<(usize, f64)>,
    /// Share that is not reached.
    pub(super) never: f64,
    /// Independent members: seasons.
    members: usize,
}

impl DateSample {
    /// Of the first days at whose end the sums are at or above each point: sums by day of the season,
    /// those known and then each member's own. What comes after the day `last` is not reached.
    pub(super) fn of(points: &[f64], known: &[f64], rest: &[Vec<f64>], last: usize) -> Self {
        let mut days: Vec<Option<usize>> = Vec::with_capacity(rest.len() * points.len());
        for point in points {
            let within_known = known.partition_point(|sum| sum < point);
            for member in rest {
                let day = if within_known < known.len() {
                    Some(within_known)
                } else {
                    let after = member.partition_point(|sum| sum < point);
                    (after < member.len()).then_some(known.len() + after)
                };
                days.push(day.filter(|day| *day <= last));
            }
        }
        Self::new(days, rest.len())
    }

    fn new(mut days: Vec<Option<usize>>, members: usize) -> Self {
        let all = days.len().max(1) as f64;
        days.sort_unstable_by_key(|day| day.unwrap_or(usize::MAX));
        let mut shares: Vec<(usize, f64)> = Vec::new();
        for (index, day) in days.iter().flatten().enumerate() {
            let share = (index + 1) as f64 / all;
            match shares.last_mut() {
                Some(last) if last.0 == *day => last.1 = share,
                _ => shares.push((*day, share)),
            }
        }
        let reached = shares.last().map_or(0.0, |last| last.1);
        Self {
            days: shares,
            never: 1.0 - reached,
            members,
        }
    }

    /// The position on the season's scale before which a share `p` lies; day k spans
    /// k − 0.5 to k + 0.5. `None` if that share is not reached.
    pub(super) fn quantile(&self, p: f64) -> Option<f64> {
        let n = self.members as f64;
        let p = (p * (n + 0.5) / n - 0.25 / n).clamp(0.0, 1.0);
        let index = self.days.partition_point(|(_, share)| *share < p);
        let (day, share) = self.days.get(index)?;
        let before = index.checked_sub(1).map_or(0.0, |i| self.days[i].1);
        Some(*day as f64 - 0.5 + (p - before) / (share - before))
    }

    /// Share up to and including a day.
    pub(super) fn share_by(&self, day: i64) -> f64 {
        let Ok(day) = usize::try_from(day) else {
            return 0.0;
        };
        let index = self.days.partition_point(|(known, _)| *known <= day);
        index.checked_sub(1).map_or(0.0, |i| self.days[i].1)
    }
}

/// Points of a threshold, none below the point of the same place in `floor`; a single point stands
/// for all places.
pub(super) fn not_below(points: &[f64], floor: &[f64]) -> Vec<f64> {
    let at = |points: &[f64], place: usize| points[place.min(points.len() - 1)];
    (0..points.len().max(floor.len()))
        .map(|place| at(points, place).max(at(floor, place)))
        .collect()
}
