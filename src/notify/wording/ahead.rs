//! Words for what lies ahead: dates as ranges, with what they are made of.

use super::{capitalised, day_month, range_words};
use crate::domain::phenology::outlook::{Basis, FULL_SEASONS, Outlook};
use crate::domain::phenology::season_state::Expectation;
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
        Ok((outlook, basis)) => format!("{at}: {}. {}", dates(&outlook), made_of(&basis)),
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
        made_of(&early.basis),
    )
}

/// The dates of an outlook: "likely about 8 July (27 June to 19 July in 8 of 10 cases)".
pub(super) fn dates(outlook: &Outlook) -> String {
    match (outlook.early, outlook.likely, outlook.late) {
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

/// What an outlook is made of.
pub(super) fn made_of(basis: &Basis) -> String {
    let forecast = match basis.forecast_days {
        0 => String::new(),
        days => format!(" then {days} days of a model's forecast,"),
    };
    let thin = if basis.is_thin() {
        format!(
            " Under {FULL_SEASONS} seasons the range is widened; import more of the station's history."
        )
    } else {
        String::new()
    };
    format!(
        "The range is made of days observed through {},{forecast} {} past seasons of the station as possible remainders, and the threshold's own range.{thin}",
        day_month(basis.data_through),
        basis.past_seasons
    )
}

fn percent(share: f64) -> String {
    match share {
        small if small < 0.005 => "under 1 %".to_owned(),
        large if large > 0.995 => "over 99 %".to_owned(),
        share => format!("{:.0} %", share * 100.0),
    }
}
