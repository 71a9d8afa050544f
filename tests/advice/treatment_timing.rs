//! What the coverage model says of each option, held against common practice (no source) at an
//! invented site: first eggs about 20 June, first hatch around 1 July.

use crate::support::{feeds, real_data, species};
use chrono::{Datelike, Days, NaiveDate};
use hatchbell::config::option_file;
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::phenology::season_days::Limits;
use hatchbell::domain::phenology::season_state::{PassedBy, Record, season_state};
use hatchbell::domain::phenology::species::Species;
use hatchbell::domain::treatment::coverage::Coverage;
use hatchbell::domain::treatment::hatching::{FIRST_HATCH_SHARE, Hatching, NoCoverage};
use hatchbell::domain::treatment::need::COUNTABLE_AFTER_HATCH;
use hatchbell::domain::treatment::option::{Purpose, TreatmentOption};
use hatchbell::domain::weather::daily_readings::DailyReadings;
use hatchbell::domain::weather::extremes::Unit;
use hatchbell::domain::weather::gaps::Estimates;

/// Courses of the season: sums over base 10 °C of a sine-shaped year, colder and warmer ones.
fn courses() -> Vec<Vec<f64>> {
    (-4..=4).map(|step| course(f64::from(step) * 0.3)).collect()
}

fn course(warmer: f64) -> Vec<f64> {
    let mut sum = 0.0;
    (0..365)
        .map(|day| {
            let angle = std::f64::consts::TAU * (f64::from(day) - 200.0) / 365.0;
            sum += (13.45 + warmer + 14.0 * angle.cos() - 10.0_f64).max(0.0);
            sum
        })
        .collect()
}

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, month, day).unwrap()
}

fn option(id: &str) -> TreatmentOption {
    let (file, text) = option_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with(&format!("/{id}.toml")))
        .expect("a built-in option");
    option_file::read(file, text).expect("it loads")
}

fn beetle() -> Species {
    species::species("japanese-beetle")
}

/// A coverage refers to a hatching and an option; a test lets both live to its end.
fn coverage(id: &str) -> Coverage<'static> {
    let hatching = Hatching::new(&beetle(), &courses(), day(1, 1), day(9, 30)).expect("it hatches");
    Box::leak(Box::new(hatching)).coverage(Box::leak(Box::new(option(id))))
}

fn mean(coverage: &Coverage<'_>, month: u32, on: u32) -> f64 {
    coverage.on(day(month, on)).expect("in season").mean
}

/// The day from which half of what was spread has arrived.
fn half_arrived(id: &str, spread: NaiveDate) -> NaiveDate {
    let option = option(id);
    let days = (0..200).find(|days| option.arrived_after(f64::from(*days)) >= 0.5);
    spread + Days::new(u64::try_from(days.expect("it arrives")).unwrap())
}

#[test]
fn the_site_has_eggs_about_the_twentieth_of_june_and_first_hatch_ten_days_later() {
    // About ten days: Michigan State University Extension, for July; cooler soil takes two weeks.
    let middle = course(0.0);
    let reaches = |milestone| {
        let sum = beetle().threshold(milestone).value;
        day(1, 1) + Days::new(middle.partition_point(|s| *s < sum) as u64)
    };
    let (eggs, hatch) = (reaches(Milestone::EggLay), reaches(Milestone::Hatch));
    assert!((day(6, 17)..=day(6, 23)).contains(&eggs), "{eggs}");
    assert!((day(6, 29)..=day(7, 3)).contains(&hatch), "{hatch}");
    assert!((9..=14).contains(&(hatch - eggs).num_days()));
}

#[test]
fn a_diamide_spread_in_mid_june_arrives_about_early_august_and_one_of_early_july_in_late_august() {
    // Common practice, no source.
    let june = half_arrived("chlorantraniliprole", day(6, 15));
    assert!((day(7, 28)..=day(8, 7)).contains(&june), "{june}");
    let july = half_arrived("chlorantraniliprole", day(7, 4));
    assert!((day(8, 12)..=day(8, 27)).contains(&july), "{july}");
}

#[test]
fn practice_has_the_diamide_down_from_late_april_to_the_end_of_may() {
    // Mid-April to early June: University of Massachusetts; best from 15 April to 15 May: Michigan
    // State University Extension 2013. First hatch about 1 July is common practice, no source.
    let lead = option("chlorantraniliprole").practice_lead_days;
    let (latest, earliest) = lead.and_then(|lead| lead.range).expect("a range");
    let before_hatch = |days: f64| day(7, 1) - Days::new(days as u64);
    let (from, to) = (before_hatch(earliest), before_hatch(latest));
    assert!((day(4, 15)..=day(4, 30)).contains(&from), "{from}");
    assert!((day(5, 25)..=day(5, 31)).contains(&to), "{to}");
}

#[test]
fn a_diamide_is_best_from_late_april_through_may_of_use_in_june_and_wasted_from_mid_july() {
    // Common practice, no source; usable to 20 June: Michigan State University Extension 2013. Trials
    // that found control from early July (Ohio State, Kentucky 2018) make it fall slowly until then.
    let coverage = coverage("chlorantraniliprole");
    let window = coverage.window().expect("a window");
    assert!(window.first <= day(4, 15), "{window:?}");
    assert!(
        (day(4, 10)..=day(5, 20)).contains(&window.best),
        "{window:?}"
    );
    assert!(
        (day(5, 20)..=day(6, 12)).contains(&window.last),
        "{window:?}"
    );
    let best = mean(&coverage, window.best.month(), window.best.day());
    assert!(mean(&coverage, 4, 1) > 0.95 * best, "early is harmless");
    assert!(mean(&coverage, 6, 20) > 0.7 * best, "usable");
    let early_july = mean(&coverage, 7, 5) / best;
    assert!((0.3..0.7).contains(&early_july), "{early_july}");
    assert!(mean(&coverage, 7, 17) < 0.3 * best, "late is wasted");
}

#[test]
fn a_soluble_neonicotinoid_of_early_to_mid_june_still_acts_and_early_july_still_works() {
    // Common practice, no source.
    for id in ["imidacloprid", "clothianidin", "thiamethoxam"] {
        let coverage = coverage(id);
        let window = coverage.window().expect("a window");
        for on in [day(6, 10), day(6, 15), day(7, 5)] {
            assert!(
                (window.first..=window.last).contains(&on),
                "{id}: {on} is not in {window:?}"
            );
        }
        assert!(window.last <= day(8, 5), "{id}: finished by early August");
        assert!(mean(&coverage, 8, 25) < 0.6, "{id}: late is no use");
        let left = option(id).at_work_after(46.0);
        assert!(left > 0.25, "{id}: at the end of July {left} of mid-June's");
    }
}

#[test]
fn imidacloprid_meets_some_four_tenths_of_third_instars() {
    // 0.4, 0.1 to 0.7, is an estimate between George et al. 2007 (J. Econ. Entomol. 100:431), high
    // mortality within 30 days, and Rutgers 2009, little effect.
    let hatching = Hatching::new(&beetle(), &courses(), day(1, 1), day(9, 30)).unwrap();
    assert!(hatching.reached(2.0, day(8, 25)) > 0.9);
    let met = mean(&coverage("imidacloprid"), 8, 25);
    assert!((0.3..=0.5).contains(&met), "{met}");
}

#[test]
fn a_bt_strain_has_lost_nine_tenths_after_a_fortnight_and_is_best_around_the_tenth_of_july() {
    // Common practice, no source: best around 10 July, 15 to 20 July the latest.
    let id = "bacillus-thuringiensis-galleriae";
    assert!((option(id).decay.left_after(14.0) - 0.1).abs() < 0.02);
    let window = coverage(id).window().expect("a window");
    assert!(
        (day(7, 6)..=day(7, 14)).contains(&window.best),
        "{window:?}"
    );
    assert!(
        (day(7, 14)..=day(7, 21)).contains(&window.last),
        "{window:?}"
    );
}

#[test]
fn every_option_is_watered_in_and_preventives_of_the_soil_pass_the_top_of_it() {
    // Common practice, no source: through the top 25 to 50 mm of soil, with 6 to 25 mm of water.
    for (file, text) in option_file::BUILT_IN {
        let option = option_file::read(file, text).unwrap();
        let depth = option.watering_in.depth_mm.value;
        assert!((6.0..=25.0).contains(&depth), "{}: {depth} mm", option.id);
    }
}

#[test]
fn a_curative_meets_most_when_larvae_are_there_and_nothing_before() {
    let coverage = coverage("trichlorfon");
    let window = coverage.window().expect("a window");
    assert!(window.best >= day(7, 15), "{window:?}");
    assert!(mean(&coverage, 6, 1) < 0.05);
}

#[test]
fn the_range_holds_the_mean_and_shares_stay_between_nothing_and_all() {
    for (file, text) in option_file::BUILT_IN {
        let option = option_file::read(file, text).unwrap();
        let hatching = Hatching::new(&beetle(), &courses(), day(1, 1), day(9, 30)).unwrap();
        for (on, share) in hatching.coverage(&option).days() {
            assert!(share.low <= share.high, "{file}, {on}");
            for value in [share.low, share.mean, share.high] {
                assert!((0.0..=1.0).contains(&value), "{file}, {on}: {share:?}");
            }
        }
    }
}

#[test]
fn a_warmer_season_moves_every_window_forward() {
    let window = |warmer: f64, id: &str| {
        let hatching = Hatching::new(&beetle(), &[course(warmer)], day(1, 1), day(9, 30)).unwrap();
        hatching.coverage(&option(id)).window().expect("a window")
    };
    for id in [
        "chlorantraniliprole",
        "imidacloprid",
        "bacillus-thuringiensis-galleriae",
    ] {
        let (cool, warm) = (window(-1.0, id), window(1.0, id));
        assert!(warm.last < cool.last, "{id}: {warm:?}, {cool:?}");
    }
}

#[test]
fn larvae_enter_their_instars_in_order_and_all_in_time() {
    let hatching = Hatching::new(&beetle(), &courses(), day(1, 1), day(9, 30)).unwrap();
    assert_eq!(hatching.reached(0.0, day(6, 1)), 0.0);
    let hatched = hatching.reached(0.0, day(7, 12));
    assert!(
        (0.3..=0.7).contains(&hatched),
        "half by the peak: {hatched}"
    );
    for on in [day(7, 12), day(7, 25), day(8, 10)] {
        let by = |instar| hatching.reached(instar, on);
        assert!(by(0.0) >= by(1.0) && by(1.0) >= by(2.0), "{on}");
    }
    assert!(hatching.reached(0.0, day(9, 29)) > 0.99);
}

/// From peak hatch to the second instar it takes about two weeks of July.
#[test]
fn at_the_peak_of_hatch_few_larvae_are_in_the_second_instar_and_four_weeks_later_most_are() {
    let hatching = Hatching::new(&beetle(), &courses(), day(1, 1), day(9, 30)).unwrap();
    let grown = |on| hatching.reached(1.0, on);
    assert!(grown(day(7, 12)) < 0.2, "{}", grown(day(7, 12)));
    assert!(grown(day(8, 10)) > 0.8, "{}", grown(day(8, 10)));
}

#[test]
fn larvae_can_be_counted_when_half_are_in_the_second_instar_or_first_hatch_is_four_weeks_old() {
    for (warmer, is_four_weeks) in [(0.0, false), (-2.0, true)] {
        let courses: Vec<Vec<f64>> = (-4..=4)
            .map(|step| course(warmer + f64::from(step) * 0.3))
            .collect();
        let hatching = Hatching::new(&beetle(), &courses, day(1, 1), day(9, 30)).unwrap();
        let first_with = |instar, share| {
            let mut days = day(1, 1).iter_days().take(272);
            days.find(|on| hatching.reached(instar, *on) >= share)
                .unwrap()
        };
        let hatch = first_with(0.0, FIRST_HATCH_SHARE);
        let (half, four_weeks) = (
            first_with(1.0, 0.5),
            hatch + Days::new(COUNTABLE_AFTER_HATCH),
        );
        assert_eq!(four_weeks < half, is_four_weeks, "{half} {four_weeks}");
        assert_eq!(hatching.countable(), Some(half.min(four_weeks)));
    }
}

#[test]
fn where_too_little_warmth_comes_together_there_is_no_coverage() {
    let cold: Vec<Vec<f64>> = courses()
        .into_iter()
        .map(|course| course.into_iter().map(|sum| sum * 0.3).collect())
        .collect();
    let none = Hatching::new(&beetle(), &cold, day(1, 1), day(9, 30));
    assert_eq!(none.err(), Some(NoCoverage::NoHatch));
}

/// The default Japanese beetle thresholds at 72 stations of Illinois and Indiana, 1985 to 2014
/// (GHCN-Daily): first eggs and first hatch, one date for each station and year without long gaps.
/// First hatch follows first eggs by about ten days in July (Michigan State University Extension) to
/// two weeks (common practice, no source). The medians are the same data's, worked out apart in
/// another language: 27 June and 9 July, 11 days.
#[test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
fn at_real_stations_of_the_midwest_hatch_follows_eggs_by_ten_days_to_two_weeks() {
    let species = beetle();
    let extract = feeds::binding("ghcn-extract", Unit::TenthsCelsius);
    let mut eggs = Vec::new();
    let mut hatches = Vec::new();
    let mut between = Vec::new();
    for entry in std::fs::read_dir(real_data::folder().join("ghcn_coop")).unwrap() {
        let bytes = std::fs::read(entry.unwrap().path()).unwrap();
        let readings = DailyReadings::from(
            &feeds::take(&bytes, &extract, "2026-11-25")
                .unwrap()
                .readings,
        );
        for year in 1985..=2014 {
            let today = NaiveDate::from_ymd_opt(year, 10, 31).unwrap();
            let record = Record {
                borrowed: None,
                readings: &readings,
                estimates: &Estimates::new(),
                past: &[],
                forecast: None,
            };
            let state = season_state(&species, 40.0, record, today, Limits::default());
            let on = |milestone| {
                let crossing = state.crossings.iter().find(|c| c.milestone == milestone)?;
                (crossing.by == PassedBy::Sum).then_some(crossing.on.ordinal())
            };
            if let (Some(egg), Some(hatch)) = (on(Milestone::EggLay), on(Milestone::Hatch)) {
                eggs.push(egg);
                hatches.push(hatch);
                between.push(hatch - egg);
            }
        }
    }
    println!("{} station years", eggs.len());
    assert!(eggs.len() > 1000, "{}", eggs.len());
    let median = |days: &mut Vec<u32>| {
        days.sort_unstable();
        days[days.len() / 2]
    };
    let date = |ordinal| NaiveDate::from_yo_opt(2026, ordinal).unwrap();
    let (egg, hatch) = (date(median(&mut eggs)), date(median(&mut hatches)));
    let days = median(&mut between);
    println!("eggs {egg}, hatch {hatch}, {days} days between");
    assert!((day(6, 25)..=day(6, 29)).contains(&egg), "{egg}");
    assert!((day(7, 7)..=day(7, 11)).contains(&hatch), "{hatch}");
    assert!((10..=14).contains(&days), "{days}");
}

/// The public list of the Insecticide Resistance Action Committee, recalled but for 4A: carbamates and
/// organophosphates share a target, so going from one to the other is no rotation.
#[test]
fn options_of_one_target_have_one_main_group_and_all_but_nematodes_have_one() {
    let main = |id: &str| option(id).main_group().map(str::to_owned);
    assert_eq!(main("carbaryl"), main("trichlorfon"));
    assert_ne!(
        option("carbaryl").mode_of_action,
        option("trichlorfon").mode_of_action
    );
    assert_eq!(main("imidacloprid").as_deref(), Some("4"));
    assert_eq!(main("clothianidin"), main("thiamethoxam"));
    assert_eq!(main("clothianidin"), main("imidacloprid"));
    for (file, text) in option_file::BUILT_IN {
        let option = option_file::read(file, text).unwrap();
        let nematodes = option.id == "heterorhabditis-bacteriophora";
        assert_eq!(option.mode_of_action.is_none(), nematodes, "{file}");
    }
}

/// Larvae go down as the soil cools: Japanese beetle from about 15.6 °C (a town's page, New York),
/// and is inactive near 10 °C (Michigan State University Extension).
#[test]
fn every_option_for_larvae_that_were_counted_ends_by_soil_temperature() {
    for (file, text) in option_file::BUILT_IN {
        let option = option_file::read(file, text).unwrap();
        if option.serves(Purpose::Curative) {
            let soil = option.soil.unwrap_or_else(|| panic!("{file} has none"));
            assert!((10.0..=15.6).contains(&soil.lowest_c.value), "{file}");
        }
    }
}
