//! Words for what lies ahead: dates as ranges, with what they are made of.

use super::{capitalised, day_month, range_words};
use crate::domain::phenology::outlook::{Basis, FULL_SEASONS, Outlook};
use crate::domain::phenology::season_state::{Crossing, Expectation, PassedBy};
use crate::domain::phenology::species::Species;
use crate::domain::telling::early_notice::Early;

/// What comes after a milestone.
pub(super) fn what_comes_next(species: &Species, next: Option<Expectation>) -> String {
    let Some(next) = next else {
        return "Nothing more this season.".to_owned();
    };
    let at = format!(
        "{} at {}",
        capitalised(next.milestone.title()),
        range_words(species.threshold(next.milestone))
    );
    match next.outlook {
        Ok((outlook, basis)) => {
            format!("{at}: {}. {}", dates(&outlook), rests_on(&outlook, &basis))
        }
        Err(why) => format!("{at}: no date can be given ({why})."),
    }
}

/// The same for push messages.
pub(super) fn next_in_brief(species: &Species, next: Option<Expectation>) -> String {
    match next {
        None => "nothing more this season.".to_owned(),
        Some(Expectation {
            milestone,
            outlook: Ok((outlook, _)),
        }) => format!("{} {}.", milestone.title(), dates(&outlook)),
        Some(Expectation { milestone, .. }) => format!(
            "{} at {:.0} °C·d, no date can be given.",
            milestone.title(),
            species.threshold(milestone).value
        ),
    }
}

/// What an early notice says of the dates.
pub(super) fn what_to_expect(species: &Species, early: &Early) -> String {
    let moved = early.moved_from.map_or(String::new(), |told| {
        format!(
            " The likely date told before was {}; the weather since then has moved it.",
            day_month(told)
        )
    });
    let [week, fortnight, month] = early.outlook.within.map(percent);
    format!(
        "{} of {} is set at {}. It is {}.{moved} Chance that it has happened within 7 days {week}, within 14 days {fortnight}, within 30 days {month}. {}",
        capitalised(early.milestone.title()),
        species.name,
        range_words(species.threshold(early.milestone)),
        dates(&early.outlook),
        rests_on(&early.outlook, &early.basis),
    )
}

/// The dates of an outlook: "likely about 8 July (27 June to 19 July in 8 of 10 cases)", or "by the
/// calendar on 20 September".
pub(super) fn dates(outlook: &Outlook) -> String {
    let by_calendar = outlook.by_calendar;
    match (outlook.early, outlook.likely, outlook.late) {
        (_, Some(cap), _) if by_calendar.early => {
            format!("by the calendar on {}", day_month(cap))
        }
        (Some(early), Some(cap), _) if by_calendar.likely => format!(
            "by the calendar on {}, by the sum hardly before {}",
            day_month(cap),
            day_month(early)
        ),
        (Some(early), Some(likely), Some(cap)) if by_calendar.late => format!(
            "likely about {}, not before {} in 9 of 10 cases, and by the calendar on {}",
            day_month(likely),
            day_month(early),
            day_month(cap)
        ),
        (Some(early), Some(likely), Some(late)) if early == late => {
            format!("likely on {}", day_month(likely))
        }
        (Some(early), Some(likely), Some(late)) => format!(
            "likely about {} ({} to {} in 8 of 10 cases)",
            day_month(likely),
            day_month(early),
            day_month(late)
        ),
        (Some(early), Some(likely), None) => format!(
            "likely about {}, not before {} in 9 of 10 cases, and not at all this season in {}",
            day_month(likely),
            day_month(early),
            percent(outlook.never)
        ),
        (Some(early), None, _) => format!(
            "not likely this season ({} that it is not reached), and if so hardly before {}",
            percent(outlook.never),
            day_month(early)
        ),
        _ => "not to be expected this season".to_owned(),
    }
}

/// The day on which a milestone came: "20 September", or "20 September by the calendar".
pub(super) fn day_it_came(crossing: &Crossing) -> String {
    match crossing.by {
        PassedBy::Sum => day_month(crossing.on),
        PassedBy::DateCap | PassedBy::DateCapUnknown => {
            format!("{} by the calendar", day_month(crossing.on))
        }
    }
}

/// What an outlook rests on: what its range is made of, or why it is the calendar's.
fn rests_on(outlook: &Outlook, basis: &Basis) -> String {
    let forecast = match basis.forecast_days {
        0 => String::new(),
        days => format!(" then {days} days of a model's forecast,"),
    };
    let observed = format!(
        "days observed through {},{forecast} {} past seasons of the station as possible remainders",
        day_month(basis.data_through),
        basis.past_seasons
    );
    if outlook.by_calendar.early {
        return format!(
            "The calendar sets that day, warm or not: by {observed}, the sum hardly gets there before."
        );
    }
    let thin = if basis.is_thin() {
        format!(
            " Under {FULL_SEASONS} seasons the range is widened; import more of the station's history."
        )
    } else {
        String::new()
    };
    format!("The range is made of {observed}, and the threshold's own range.{thin}")
}

fn percent(share: f64) -> String {
    match share {
        small if small < 0.005 => "under 1 %".to_owned(),
        large if large > 0.995 => "over 99 %".to_owned(),
        share => format!("{:.0} %", share * 100.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::milestone::Milestone;
    use crate::domain::phenology::outlook::ByCalendar;
    use chrono::NaiveDate;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    const CAP: &str = "2026-09-20";

    /// An outlook with as many of its last dates by the calendar.
    fn outlook(dates: [&str; 3], by_calendar: usize) -> Outlook {
        let [early, likely, late] = dates.map(|date| Some(day(date)));
        Outlook {
            early,
            likely,
            late,
            passed: 0.0,
            within: [0.0; 3],
            never: 0.0,
            by_calendar: ByCalendar {
                early: by_calendar > 2,
                likely: by_calendar > 1,
                late: by_calendar > 0,
            },
        }
    }

    #[test]
    fn a_date_that_the_calendar_sets_is_not_called_likely() {
        let told = |dates, by_calendar| super::dates(&outlook(dates, by_calendar));
        assert_eq!(told([CAP; 3], 3), "by the calendar on 20 September");
        assert_eq!(
            told(["2026-09-05", CAP, CAP], 2),
            "by the calendar on 20 September, by the sum hardly before 5 September"
        );
        assert_eq!(
            told(["2026-09-05", "2026-09-12", CAP], 1),
            "likely about 12 September, not before 5 September in 9 of 10 cases, and by the calendar on 20 September"
        );
        assert_eq!(told([CAP; 3], 0), "likely on 20 September");
    }

    #[test]
    fn past_seasons_are_not_said_to_make_a_date_that_the_calendar_sets() {
        let basis = Basis {
            data_through: day("2026-07-25"),
            forecast_days: 0,
            past_seasons: 10,
        };
        let by_calendar = rests_on(&outlook([CAP; 3], 3), &basis);
        assert!(
            by_calendar.starts_with("The calendar sets that day"),
            "{by_calendar}"
        );
        let by_sum = rests_on(&outlook([CAP; 3], 0), &basis);
        assert!(
            by_sum.starts_with("The range is made of days observed"),
            "{by_sum}"
        );
    }

    #[test]
    fn a_date_corrected_to_the_calendar_s_says_so() {
        let came = |by| {
            day_it_came(&Crossing {
                milestone: Milestone::WindowEnd,
                on: day(CAP),
                by,
                degree_days: 1300.0,
                estimated_days: 0,
            })
        };
        assert_eq!(came(PassedBy::Sum), "20 September");
        assert_eq!(came(PassedBy::DateCap), "20 September by the calendar");
        assert_eq!(
            came(PassedBy::DateCapUnknown),
            "20 September by the calendar"
        );
    }
}
