//! The first page: what is to be done this week at all sites, worst first.

use super::answers::{NoPage, page};
use super::state::PageState;
use super::viewer::{KnownBy, Viewer};
use crate::domain::notation::Notation;
use crate::report::BRIEF_CAUTIONS;
use crate::report::task::LAST_DAY;
use crate::report::week::{Week, WeekLayer};
use askama::Template;
use axum::extract::{Query, State};
use axum::response::Html;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "overview.html", config = "src/web/askama.toml")]
struct Overview<'w> {
    week: &'w Week,
    notation: &'w Notation,
    cautions: [&'static str; 2],
    /// Sites of a task that are named before the others are folded away.
    named: usize,
    /// Why a task is not put off on its last day.
    last_day: &'static str,
    /// Tasks of a layer that are shown before the others are folded away.
    tasks: usize,
    /// What is wrong: what is shown, and what is folded away.
    named_problems: (&'w [String], &'w [String]),
    /// The name that is looked for; empty if none is.
    find: &'w str,
    /// Whether to offer to look for a name.
    can_find: bool,
    /// Whether sites of several members are shown.
    several: bool,
    viewer: &'w Viewer,
    /// Who has signed in.
    signed_in: Option<&'w str>,
}

/// Sites of a task that are named before the others are folded away.
pub(super) const NAMED_SITES: usize = 8;
/// Tasks of a layer that are shown before the others are folded away.
const NAMED_TASKS: usize = 5;
/// Lines of what is wrong that are shown before the others are folded away.
const NAMED_PROBLEMS: usize = 6;

impl Overview<'_> {
    /// What is said of the tasks of a layer that are folded away. Of what was looked for, all is shown.
    fn folded(&self, layer: &WeekLayer) -> Option<String> {
        let folded = layer.folded(self.tasks, self.notation);
        folded.filter(|_| self.find.is_empty())
    }
}

pub(super) async fn overview(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Query(asked): Query<Vec<(String, String)>>,
) -> Result<Html<String>, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let week = shared.week(&viewer)?;
        let config = shared.in_force_for(&viewer).config;
        let recipient = viewer.recipient.as_deref();
        let recipient = recipient.and_then(|id| config.recipient(id));
        let seen = config.members.iter().filter(|member| viewer.sees(member));
        let notation = &config.service.notation;
        let put_off = shared.ask(|asked| asked.store.put_off_on(asked.today))?;
        let week = if put_off.is_empty() {
            week
        } else {
            Arc::new((*week).clone().with_put_off(&put_off, notation))
        };
        let find = asked.iter().find(|(name, _)| name == "find");
        let find = find.map_or("", |(_, text)| text.trim());
        let can_find = week.is_long();
        let week = match find {
            "" => week,
            text => Arc::new((*week).clone().found(text)),
        };
        page(&Overview {
            tasks: NAMED_TASKS,
            named_problems: week
                .problems
                .split_at(NAMED_PROBLEMS.min(week.problems.len())),
            find,
            can_find,
            week: &week,
            notation,
            cautions: BRIEF_CAUTIONS,
            named: NAMED_SITES,
            last_day: LAST_DAY,
            several: seen.count() > 1,
            signed_in: recipient
                .filter(|_| matches!(viewer.way, KnownBy::Session(_)))
                .map(|recipient| recipient.name.as_str()),
            viewer: &viewer,
        })
    });
    made.await?
}
