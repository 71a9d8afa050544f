//! The sites there are, as scripts list them.

use crate::domain::place::site::{Member, Site};
use serde::Serialize;
use utoipa::ToSchema;

/// A site that is watched.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ListedSite {
    /// Its id.
    pub site: String,
    /// Its name.
    pub name: String,
    /// The id of the member whose it is.
    pub member_id: String,
    /// The member's name.
    pub member: String,
    /// What grows there.
    pub turf: String,
    /// The species it is watched for, by their ids.
    pub species: Vec<String>,
    /// The stations that stand for it, by their ids.
    pub stations: Vec<String>,
}

impl ListedSite {
    /// By the configuration.
    pub fn of((member, site): (&Member, &Site)) -> Self {
        Self {
            site: site.id.clone(),
            name: site.name.clone(),
            member_id: member.id.clone(),
            member: member.name.clone(),
            turf: site.turf.clone(),
            species: site.species.clone(),
            stations: site.stations().into_iter().map(str::to_owned).collect(),
        }
    }
}
