//! Biofix: what catches at a site say of its thresholds, and how far they are believed.

use crate::support::species::species;
use hatchbell::domain::phenology::biofix::{
    Anchor, AnchoredBy, Catch, FIRST_CATCH_SPREAD, LAST_CATCH_SPREAD, PEAK_CATCH_SPREAD,
    SEASON_SPREAD, anchor, anchored,
};
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::sourced_value::EvidenceGrade;

/// Looks at a trap: the sum, and how many beetles if they were counted.
fn trap(looks: &[(f64, Option<u32>)]) -> Vec<Catch> {
    looks
        .iter()
        .map(|(sum, beetles)| Catch {
            sum: *sum,
            beetles: *beetles,
        })
        .collect()
}

fn by(this_season: &[(f64, Option<u32>)], earlier: &[&[(f64, Option<u32>)]]) -> Option<Anchor> {
    let earlier: Vec<Vec<Catch>> = earlier.iter().map(|season| trap(season)).collect();
    anchor(&species("japanese-beetle"), &trap(this_season), &earlier)
}

fn shift(this_season: &[(f64, Option<u32>)], earlier: &[&[(f64, Option<u32>)]]) -> f64 {
    by(this_season, earlier).unwrap().shift
}

/// The variance that the range of flight gives the table: 450 to 670 °C·d hold 80 %.
fn table() -> f64 {
    (110.0_f64 / 1.281552).powi(2)
}

fn close(got: f64, due: f64) {
    assert!((got - due).abs() < 1e-6, "{got} {due}");
}

#[test]
fn one_beetle_moves_the_stages_by_less_than_half_of_how_far_it_was_from_the_table() {
    let first = FIRST_CATCH_SPREAD.powi(2);
    for far in [149.0, -149.0] {
        let due = far * table() / (table() + first);
        let found = by(&[(560.0 + far, None)], &[]).unwrap();
        close(found.shift, due);
        assert!(due.abs() < 0.5 * far.abs());
        let AnchoredBy::ThisSeason { seen, peak, last } = found.by else {
            panic!("{found:?}");
        };
        assert_eq!((seen, peak, last), (far, false, false));
    }
}

#[test]
fn the_stages_move_together_and_are_no_published_values_any_more() {
    let beetle = species("japanese-beetle");
    let found = by(&[(620.0, None)], &[]).unwrap();
    let local = anchored(&beetle, &found);
    for milestone in Milestone::ALL {
        let moved = local.threshold(milestone);
        close(moved.value, beetle.threshold(milestone).value + found.shift);
        assert_eq!(moved.grade, EvidenceGrade::Local);
    }
}

/// Whoever has seen beetles need not be told to wait for them.
#[test]
fn flight_has_begun_by_the_first_catch_whatever_else_it_moves() {
    let beetle = species("japanese-beetle");
    let found = by(&[(430.0, None)], &[]).unwrap();
    let local = anchored(&beetle, &found);
    let flight = local.threshold(Milestone::AdultFlight);
    assert_eq!(flight.value, 430.0);
    let (low, high) = flight.range.unwrap();
    assert!(low < 430.0 && high == 430.0);
    close(local.threshold(Milestone::Hatch).value, 820.0 + found.shift);
}

/// The table's peak is at 820 °C·d. A first catch 100 late and a peak 40 late, each by its precision.
#[test]
fn a_peak_counts_beside_the_first_catch_and_for_more() {
    let looks = [(660.0, Some(2)), (860.0, Some(40)), (960.0, Some(12))];
    let (first, peak) = (FIRST_CATCH_SPREAD.powi(-2), PEAK_CATCH_SPREAD.powi(-2));
    let due = (100.0 * first + 40.0 * peak) / (first + peak + 1.0 / table());
    close(shift(&looks, &[]), due);
    // Two numbers are no course, and while the last number is the highest nobody knows the peak.
    let first_alone = shift(&[(660.0, None)], &[]);
    close(shift(&looks[..2], &[]), first_alone);
    let rising = [(660.0, Some(2)), (760.0, Some(9)), (860.0, Some(40))];
    close(shift(&rising, &[]), first_alone);
}

/// The table's end of flight is at 1219 °C·d.
#[test]
fn the_last_catch_counts_once_the_trap_was_empty_after_it() {
    let mut looks = vec![
        (660.0, Some(2)),
        (860.0, Some(40)),
        (960.0, Some(12)),
        (1300.0, Some(1)),
    ];
    let without = shift(&looks, &[]);
    looks.push((1340.0, Some(0)));
    let [first, peak, last] =
        [FIRST_CATCH_SPREAD, PEAK_CATCH_SPREAD, LAST_CATCH_SPREAD].map(|spread| spread.powi(-2));
    let due = (100.0 * first + 40.0 * peak + 81.0 * last) / (first + peak + last + 1.0 / table());
    close(shift(&looks, &[]), due);
    assert!(due > without);
}

#[test]
fn an_empty_trap_is_no_catch() {
    assert!(by(&[(500.0, Some(0))], &[]).is_none());
    let later = shift(&[(700.0, Some(3))], &[]);
    close(shift(&[(500.0, Some(0)), (700.0, Some(3))], &[]), later);
    assert!(by(&[], &[&[(500.0, Some(0))]]).is_none());
}

#[test]
fn the_more_seasons_of_the_site_say_the_same_the_less_the_table_counts() {
    let season: &[(f64, Option<u32>)] = &[(660.0, None)];
    let shifts = [1, 4, 18].map(|seasons| shift(&[], &vec![season; seasons]));
    // One season: its catch and its own difference to other seasons against the table. How far catches
    // lie from the table is learnt: the first was 100 off, as stated, so the spread stays 100.
    let one = FIRST_CATCH_SPREAD.powi(2) + SEASON_SPREAD.powi(2);
    close(shifts[0], 100.0 * table() / (table() + one));
    assert!(
        shifts.is_sorted() && shifts[2] > 90.0 && shifts[2] < 100.0,
        "{shifts:?}"
    );
    let found = by(&[], &[season, season]).unwrap();
    assert_eq!(found.by, AnchoredBy::EarlierSeasons { seasons: 2 });
    assert_eq!(found.first_catch, None);
}

#[test]
fn a_catch_is_believed_less_where_the_site_s_catches_have_scattered() {
    let (steady, scattered): (&[&[_]], &[&[_]]) = (
        &[
            &[(560.0, None)],
            &[(560.0, None)],
            &[(560.0, None)],
            &[(560.0, None)],
        ],
        &[
            &[(360.0, None)],
            &[(760.0, None)],
            &[(360.0, None)],
            &[(760.0, None)],
        ],
    );
    let steady = shift(&[(680.0, None)], steady);
    let scattered = shift(&[(680.0, None)], scattered);
    assert!(
        0.0 < scattered && scattered < steady,
        "{scattered} {steady}"
    );
}

#[test]
fn nothing_moves_below_zero() {
    let far = Anchor {
        shift: -600.0,
        first_catch: Some(0.0),
        by: AnchoredBy::EarlierSeasons { seasons: 1 },
    };
    let local = anchored(&species("japanese-beetle"), &far);
    let values = local.stages.iter().map(|stage| stage.threshold.value);
    assert!(values.clone().all(|value| value >= 0.0));
    assert_eq!(local.threshold(Milestone::AdultFlight).value, 0.0);
}
