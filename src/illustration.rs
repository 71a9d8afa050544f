//! The picture that goes with a mail: the season of a site as the page draws it, for a reader who sees
//! neither the page nor its colours.

use crate::config::Config;
use crate::cycle::SeasonAsked;
use crate::drawing::season_png;
use crate::notify::MailPicture;
use crate::report::season_picture::SeasonPicture;
use crate::store::Store;

/// The season of the first species that a reader hears of; none if there is nothing to draw.
///
/// # Errors
/// A text that says why it cannot be made.
pub fn season(
    config: &Config,
    store: &Store,
    asked: &SeasonAsked<'_>,
) -> Result<Option<MailPicture>, String> {
    let SeasonAsked {
        site,
        species,
        day,
        notation,
    } = *asked;
    let pictures = SeasonPicture::of_site_for(config, store, site, day, notation)
        .map_err(|problem| problem.in_full())?;
    let wanted = |one: &SeasonPicture| species.is_none_or(|ids| ids.contains(&one.species));
    let Some(picture) = pictures.iter().find(|one| wanted(one)) else {
        return Ok(None);
    };
    let name = config.sites().find(|(_, one)| one.id == site);
    let name = name.map_or(site, |(_, one)| one.name.as_str());
    Ok(Some(MailPicture {
        title: format!("{name}: {}", picture.title),
        description: picture.description.clone(),
        png: season_png(picture).map_err(|problem| problem.to_string())?,
    }))
}
