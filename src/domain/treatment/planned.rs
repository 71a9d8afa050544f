//! The days of an option at a site: one window for all the species it is spread against.

use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::phenology::species::Species;
use crate::domain::treatment::coverage::{Share, Window};
use crate::domain::treatment::hatching::FIRST_HATCH_SHARE;
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::rating::Rating;
use crate::domain::treatment::served::{Served, Target, served};
use crate::domain::treatment::window_search::best_day;
use chrono::{Days, NaiveDate};

/// A species that an option does not serve.
#[derive(Debug, Clone, Copy)]
pub struct Missed<'o> {
    /// The species.
    pub species: &'o Species,
    /// The days on which it would serve that species, none of which serves the others; `None` if
    /// there are none.
    pub window: Option<Window>,
}

/// An option with what its days would meet.
#[derive(Debug, Clone)]
pub struct Planned<'o> {
    /// The option.
    pub option: &'o TreatmentOption,
    /// What it would be spread for.
    pub purpose: Purpose,
    /// The species that its days serve, at least one.
    pub served: Vec<Served<'o>>,
    /// The species that they do not.
    pub missed: Vec<Missed<'o>>,
    /// The days that serve all of `served`; the last is that of the earliest of them.
    pub window: Window,
}

/// An option with its days for what it would be spread for; `None` if no day serves a species.
///
/// # Method
/// For each species the days that meet at least nine tenths of what the option's best day does, a
/// curative half from the day larvae can be counted, of the days that the soil allows: not before its
/// seven-day mean reaches [`crate::domain::treatment::served::SLEEPING_BELOW_C`] or what the option needs, nor after it falls below
/// that for good. A preventive has its days by practice where that names a lead before first hatch,
/// and none more than [`crate::domain::treatment::served::LONGEST_LEAD_DAYS`] before it. One window holds the days that serve every
/// species; where none do, the days that serve most species, of equals the earliest.
///
/// # Units
/// Days; soil in °C.
///
/// # Valid range
/// As [`crate::domain::treatment::hatching::Hatching::coverage`]. Without a course of the soil it sets no bounds.
///
/// # References
/// The option's and the species' files; the bounds of the ratings are choices.
pub fn planned<'o>(
    option: &'o TreatmentOption,
    purpose: Purpose,
    targets: &[Target<'o>],
    soil: Option<&SoilCourse>,
) -> Option<Planned<'o>> {
    let mut found = Vec::new();
    let mut missed = Vec::new();
    for target in targets {
        match served(option, purpose, *target, soil) {
            Some(one) => found.push(one),
            None => missed.push(Missed {
                species: target.species,
                window: None,
            }),
        }
    }
    let end = shared_end(&found)?;
    let (served, others): (Vec<_>, Vec<_>) = found.into_iter().partition(|one| one.holds(end));
    missed.extend(others.iter().map(|one| Missed {
        species: one.target.species,
        window: Some(one.window),
    }));
    Some(Planned {
        window: joint(&served)?,
        option,
        purpose,
        served,
        missed,
    })
}

/// The last day of the window that serves most species; of equals the earliest.
fn shared_end(served: &[Served<'_>]) -> Option<NaiveDate> {
    let serving = |day: NaiveDate| served.iter().filter(|one| one.holds(day)).count();
    let ends = served.iter().map(|one| one.window.last);
    ends.max_by_key(|end| (serving(*end), std::cmp::Reverse(*end)))
}

/// The days that serve all of several species, which have a day in common.
fn joint(served: &[Served<'_>]) -> Option<Window> {
    let windows = || served.iter().map(|one| one.window);
    let first = windows().map(|window| window.first).max()?;
    let last = windows().map(|window| window.last).min()?;
    let within = |day: NaiveDate| day.clamp(first, last);
    let from = within(windows().map(|window| window.best).min()?);
    let to = within(windows().map(|window| window.best).max()?);
    let day = |place: usize| from + Days::new(place as u64);
    let length = usize::try_from((to - from).num_days()).unwrap_or(0);
    let best = match length {
        0 => from,
        _ => day(best_day(
            |place| worst_share(served, day(place)),
            length / 2,
            0..=length,
        )),
    };
    Some(Window { first, best, last })
}

/// What a day meets of the species it serves least, as a share of what its own best day meets.
fn worst_share(served: &[Served<'_>], day: NaiveDate) -> f64 {
    let shares = served.iter().map(|one| one.share_of_best(day));
    shares.fold(f64::INFINITY, f64::min)
}

impl Planned<'_> {
    /// What the best day from `today` on would meet, 0 to 1.
    pub fn still(&self, today: NaiveDate) -> f64 {
        self.met_on(self.window.best.max(today))
    }

    /// What a day would meet of the species it serves least, mean, 0 to 1.
    pub fn met_on(&self, day: NaiveDate) -> f64 {
        self.least_served(day).mean_on(day)
    }

    /// The same with its range.
    pub fn share_on(&self, day: NaiveDate) -> Option<Share> {
        self.least_served(day).coverage.on(day)
    }

    /// Whether larvae are followed on a day: none are before the season and long after its cap.
    pub fn is_followed_on(&self, day: NaiveDate) -> bool {
        self.least_served(day).coverage.mean_on(day).is_some()
    }

    /// The species that a day serves least.
    fn least_served(&self, day: NaiveDate) -> &Served<'_> {
        let by_share = |a: &&Served<'_>, b: &&Served<'_>| {
            a.share_of_best(day).total_cmp(&b.share_of_best(day))
        };
        let least = self.served.iter().min_by(by_share);
        least.unwrap_or(&self.served[0])
    }

    /// What a day is worth, by what the best day meets. After the last day worth it none is good, and after
    /// the last fair one all are poor, whatever the model finds.
    pub fn rating(&self, day: NaiveDate) -> Rating {
        let best = worst_share(&self.served, self.window.best);
        let by_share = Rating::of(worst_share(&self.served, day) / best);
        if day <= self.window.last {
            return by_share;
        }
        match self.fair_until() {
            Some(until) if day <= until => by_share.min(Rating::Fair),
            _ => Rating::Poor,
        }
    }

    /// Whether there is a day left that is worth it.
    pub fn in_time(&self, today: NaiveDate) -> bool {
        self.window.last >= today
    }

    /// The last day that is at least fair for every species served, if that is after the last day
    /// worth it.
    pub fn fair_until(&self) -> Option<NaiveDate> {
        let until = self.served.iter().map(Served::fair_until).min()?;
        (until > self.window.last).then_some(until)
    }

    /// Whether it is practice that ends the days worth it, while later ones still meet enough.
    pub fn ends_by_practice(&self) -> bool {
        let last = Some(self.window.last);
        self.served.iter().any(|one| one.practice_ends == last)
    }

    /// The species that it still serves on a day after the last one that serves all, with the last
    /// day for each.
    pub fn still_serves(&self, day: NaiveDate) -> impl Iterator<Item = (&Species, NaiveDate)> {
        let open = move |one: &&Served<'_>| one.window.last >= day;
        let served = self.served.iter().filter(open);
        served.map(|one| (one.target.species, one.window.last))
    }

    /// When half of what is put down on a day is in the root zone.
    pub fn arrives(&self, day: NaiveDate) -> NaiveDate {
        day + Days::new(self.option.arrival_days.value.round() as u64)
    }

    /// When the first larvae of the species served hatch.
    pub fn hatch_begins(&self) -> Option<NaiveDate> {
        let hatch = |one: &Served<'_>| one.target.hatching.hatched_by(FIRST_HATCH_SHARE);
        self.served.iter().filter_map(hatch).min()
    }

    /// The largest share of a species served that has reached an instar by the end of a day, see
    /// [`crate::domain::treatment::hatching::Hatching::reached`].
    pub fn reached(&self, instar: f64, day: NaiveDate) -> f64 {
        let reached = |one: &Served<'_>| one.target.hatching.reached(instar, day);
        self.served.iter().map(reached).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::super::hatching::Hatching;
    use super::super::kit::{day, hatching, option, soil, species};
    use super::super::served::{LONGEST_LEAD_DAYS, SLEEPING_BELOW_C};
    use super::*;

    /// The window of an option against species, each so many °C warmer than the usual year.
    fn with<T>(
        option_id: &str,
        purpose: Purpose,
        against: &[(&str, f64)],
        see: impl Fn(Option<Planned<'_>>) -> T,
    ) -> T {
        let option = option(option_id);
        let known: Vec<(Species, Hatching)> = against
            .iter()
            .map(|(id, warmer)| {
                let species = species(id);
                let hatching = hatching(&species, *warmer);
                (species, hatching)
            })
            .collect();
        let targets: Vec<Target<'_>> = known
            .iter()
            .map(|(species, hatching)| Target { species, hatching })
            .collect();
        see(planned(&option, purpose, &targets, Some(&soil(0.0))))
    }

    const BEETLE: &str = "japanese-beetle";

    fn window(option: &str, against: &[(&str, f64)]) -> Window {
        with(option, Purpose::Preventive, against, |planned| {
            planned.unwrap().window
        })
    }

    #[test]
    fn several_species_have_one_window_whose_ends_are_those_of_the_last_and_the_earliest() {
        let (warm, cool) = ((BEETLE, 1.5), (BEETLE, -0.5));
        let option = "imidacloprid";
        let (early, late) = (window(option, &[warm]), window(option, &[cool]));
        assert!(early.last < late.last && early.first < late.first);
        let both = window(option, &[cool, warm]);
        assert_eq!((both.first, both.last), (late.first, early.last));
        assert!((early.best.min(late.best)..=early.best.max(late.best)).contains(&both.best));
    }

    #[test]
    fn where_no_day_serves_all_the_other_species_is_named_with_its_own_days() {
        let option = "bacillus-thuringiensis-galleriae";
        let (warm, cool) = ((BEETLE, 4.0), (BEETLE, -1.5));
        let (early, late) = (window(option, &[warm]), window(option, &[cool]));
        assert!(early.last < late.first, "{early:?} {late:?}");
        with(option, Purpose::Preventive, &[cool, warm], |planned| {
            let planned = planned.unwrap();
            // Of windows that serve one species each, the earliest.
            assert_eq!(planned.window, early);
            let missed: Vec<Option<Window>> = planned.missed.iter().map(|one| one.window).collect();
            assert_eq!(missed, [Some(late)]);
        });
    }

    #[test]
    fn a_species_for_which_the_soil_is_too_cold_is_missed_and_the_others_are_served() {
        let (option, beetle) = (option("metarhizium-brunneum"), species(BEETLE));
        let (usual, late) = (hatching(&beetle, 0.0), hatching(&beetle, -4.4));
        let [usual, late] = [&usual, &late].map(|hatching| Target {
            species: &beetle,
            hatching,
        });
        let soil = soil(-12.2);
        let cools = soil.cools_below(15.0).unwrap();
        let planned = |targets: &[Target<'_>]| {
            let found = planned(&option, Purpose::Preventive, targets, Some(&soil))?;
            Some((found.served.len(), found.missed.len(), found.window.last))
        };
        assert_eq!(planned(&[late]), None, "{cools}");
        assert_eq!(planned(&[usual]), Some((1, 0, cools)));
        assert_eq!(planned(&[late, usual]), Some((1, 1, cools)));
    }

    /// Common practice, no source: where hatch comes about 1 July the slow one goes down from late
    /// April into May.
    #[test]
    fn the_slow_diamide_goes_down_from_late_april_to_the_end_of_may() {
        let window = window("chlorantraniliprole", &[(BEETLE, 0.0)]);
        assert!(
            (day("2026-04-15")..=day("2026-04-30")).contains(&window.first),
            "{window:?}"
        );
        assert!(
            (day("2026-05-20")..=day("2026-06-05")).contains(&window.last),
            "{window:?}"
        );
        assert!((window.first..=window.last).contains(&window.best));
    }

    #[test]
    fn nothing_is_spread_before_the_soil_has_ten_degrees_nor_twelve_weeks_before_hatch() {
        let soil = soil(0.0);
        let warm = soil.warms_to(SLEEPING_BELOW_C).unwrap();
        assert!(
            (day("2026-04-01")..=day("2026-05-05")).contains(&warm),
            "{warm}"
        );
        for id in [
            "chlorantraniliprole",
            "imidacloprid",
            "clothianidin",
            "thiamethoxam",
        ] {
            let first = window(id, &[(BEETLE, 0.0)]).first;
            assert!(first >= warm, "{id} {first}");
        }
        // Where winter is warm the hatch sets the bound.
        let option = option("clothianidin");
        let beetle = species(BEETLE);
        let hatching = hatching(&beetle, 0.0);
        let target = Target {
            species: &beetle,
            hatching: &hatching,
        };
        let window = planned(&option, Purpose::Preventive, &[target], None)
            .unwrap()
            .window;
        let hatch = hatching.hatched_by(FIRST_HATCH_SHARE).unwrap();
        assert!(window.first >= hatch - Days::new(LONGEST_LEAD_DAYS));
    }

    #[test]
    fn days_are_bounded_by_the_soil_that_an_option_needs() {
        let lowest = option("heterorhabditis-bacteriophora")
            .soil
            .unwrap()
            .lowest_c
            .value;
        let soil = soil(0.0);
        let window = window("heterorhabditis-bacteriophora", &[(BEETLE, 0.0)]);
        assert!(window.first >= soil.warms_to(lowest).unwrap());
        assert!(window.last <= soil.cools_below(lowest).unwrap());
        let cold = super::super::kit::soil(-14.0);
        assert!(cold.warms_to(lowest).is_none());
        let (option, beetle) = (option("heterorhabditis-bacteriophora"), species(BEETLE));
        let hatching = hatching(&beetle, 0.0);
        let target = Target {
            species: &beetle,
            hatching: &hatching,
        };
        assert!(planned(&option, Purpose::Preventive, &[target], Some(&cold)).is_none());
    }

    #[test]
    fn days_are_rated_by_the_best_day_and_too_cold_or_too_early_ones_are_poor() {
        with(
            "imidacloprid",
            Purpose::Preventive,
            &[(BEETLE, 0.0)],
            |planned| {
                let planned = planned.unwrap();
                let window = planned.window;
                assert_eq!(planned.rating(window.best), Rating::Good);
                assert_eq!(planned.rating(window.last), Rating::Good);
                let fair = planned.fair_until().unwrap();
                assert_eq!(planned.rating(window.last + Days::new(1)), Rating::Fair);
                assert_eq!(planned.rating(fair), Rating::Fair);
                assert_eq!(planned.rating(fair + Days::new(1)), Rating::Poor);
                assert_eq!(planned.rating(day("2026-01-02")), Rating::Poor);
            },
        );
    }

    #[test]
    fn days_later_than_practice_advises_are_not_called_useless() {
        with(
            "chlorantraniliprole",
            Purpose::Preventive,
            &[(BEETLE, 0.0)],
            |planned| {
                let planned = planned.unwrap();
                assert!(planned.ends_by_practice());
                let until = planned.fair_until().unwrap();
                assert!(until > planned.window.last);
                let hatching = planned.served[0].target.hatching;
                assert!(until <= hatching.hatched_by(0.5).unwrap());
                // Fair, though the model finds more, and poor from then on, though it finds half.
                assert_eq!(planned.rating(planned.window.last), Rating::Good);
                for day in [planned.window.last + Days::new(1), until] {
                    assert_eq!(planned.rating(day), Rating::Fair, "{day}");
                }
                assert_eq!(planned.rating(until + Days::new(1)), Rating::Poor);
            },
        );
    }

    #[test]
    fn after_the_window_the_species_that_are_still_served_are_named() {
        with(
            "imidacloprid",
            Purpose::Preventive,
            &[(BEETLE, 1.5), (BEETLE, -0.5)],
            |planned| {
                let planned = planned.unwrap();
                let after = planned.window.last + Days::new(1);
                let lasts: Vec<NaiveDate> =
                    planned.still_serves(after).map(|(_, last)| last).collect();
                assert_eq!(lasts, [planned.served[1].window.last]);
            },
        );
    }

    #[test]
    fn a_curative_has_its_days_from_when_larvae_can_be_counted_until_they_go_down() {
        let soil = soil(-1.5);
        for (id, limit) in [(BEETLE, 15.6), ("european-chafer", SLEEPING_BELOW_C)] {
            let (option, species) = (option("trichlorfon"), species(id));
            let hatching = hatching(&species, -1.5);
            let target = Target {
                species: &species,
                hatching: &hatching,
            };
            let found = |soil| {
                planned(&option, Purpose::Curative, &[target], soil)
                    .unwrap()
                    .window
            };
            let (window, whatever_the_soil) = (found(Some(&soil)), found(None));
            assert!(window.first >= hatching.countable().unwrap(), "{id}");
            let gone = soil.cools_below(limit).unwrap();
            assert_eq!(window.last, gone.min(whatever_the_soil.last), "{id}");
        }
        let beetles_go = soil.cools_below(15.6).unwrap();
        with(
            "trichlorfon",
            Purpose::Curative,
            &[(BEETLE, -1.5)],
            |planned| {
                let by_date = planned.unwrap().window.last;
                assert!(
                    beetles_go < by_date,
                    "the soil decides: {beetles_go} {by_date}"
                );
            },
        );
    }
}
