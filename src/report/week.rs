//! What is to be done this week, over all sites that somebody may see: worst first, in layers from
//! what presses now down to what needs nothing.

use super::status::{ProblemKind, SiteStatus, Status};
use super::words::counted;
use crate::domain::treatment::due::Urgency;
use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

/// What is to be done this week.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Week {
    /// The service's name.
    pub service: String,
    /// The day that is shown.
    pub date: NaiveDate,
    /// When the last cycle ran, in words.
    pub last_cycle: String,
    /// What there is to do, in a sentence.
    pub in_short: String,
    /// The layers that hold something, from the top down.
    pub layers: Vec<WeekLayer>,
    /// What is wrong.
    pub problems: Vec<String>,
}

/// How soon something is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LayerDepth {
    /// Now, or too late already.
    Now,
    /// It has begun, and there is time.
    Begun,
    /// Somebody has to decide, or nothing can be told.
    Unclear,
    /// Its days lie ahead.
    Ahead,
    /// Nothing is to be done.
    Nothing,
}

/// Tasks that press alike.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WeekLayer {
    /// How soon.
    pub depth: LayerDepth,
    /// The same in words.
    pub title: &'static str,
    /// The tasks, the most pressing first.
    pub tasks: Vec<Task>,
    /// Sites in it.
    pub sites: usize,
}

/// Something to do, the same at one or more sites.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Task {
    /// What, by its name for scripts.
    pub what: &'static str,
    /// What and by when, in words.
    pub words: String,
    /// The last day for it.
    pub by: Option<NaiveDate>,
    /// Where.
    pub sites: Vec<TaskSite>,
}

/// A site of a task.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TaskSite {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// The name of the member whose it is.
    pub member: String,
}

impl LayerDepth {
    /// Every depth, from the top down.
    pub const ALL: [Self; 5] = [
        Self::Now,
        Self::Begun,
        Self::Unclear,
        Self::Ahead,
        Self::Nothing,
    ];

    fn of(urgency: Urgency) -> Self {
        match urgency {
            Urgency::WaterOverdue | Urgency::Water | Urgency::LastWeek => Self::Now,
            Urgency::Apply | Urgency::Count => Self::Begun,
            Urgency::NothingLeft | Urgency::Held => Self::Unclear,
            Urgency::ApplyLater => Self::Ahead,
            Urgency::Nothing => Self::Nothing,
        }
    }

    /// In words.
    pub fn title(self) -> &'static str {
        match self {
            Self::Now => "Now",
            Self::Begun => "The days for it have begun",
            Self::Unclear => "Nothing to be told, or nothing left to do",
            Self::Ahead => "Ahead",
            Self::Nothing => "Nothing to do",
        }
    }

    /// Its name for scripts.
    pub fn name(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Begun => "begun",
            Self::Unclear => "unclear",
            Self::Ahead => "ahead",
            Self::Nothing => "nothing",
        }
    }
}

impl Week {
    /// By a status. What concerns the service as a whole is for whoever runs it.
    pub fn of(status: &Status, is_for_operator: bool) -> Self {
        let mut layers: Vec<WeekLayer> = Vec::new();
        for site in status.worst_first() {
            let depth = LayerDepth::of(site.due.urgency);
            if layers.last().is_none_or(|layer| layer.depth != depth) {
                layers.push(WeekLayer {
                    depth,
                    title: depth.title(),
                    tasks: Vec::new(),
                    sites: 0,
                });
            }
            if let Some(layer) = layers.last_mut() {
                layer.take(site);
            }
        }
        let concerns =
            |kind| is_for_operator || matches!(kind, ProblemKind::Stale | ProblemKind::Held);
        let problems = status.problems.iter().filter(|one| concerns(one.kind));
        Self {
            service: status.service.clone(),
            date: status.date,
            last_cycle: status.last_cycle_in_words(),
            in_short: in_short(&layers),
            layers,
            problems: problems.map(|one| one.what.clone()).collect(),
        }
    }
}

impl WeekLayer {
    fn take(&mut self, site: &SiteStatus) {
        self.sites += 1;
        let place = TaskSite {
            id: site.site.clone(),
            name: site.site_name.clone(),
            member: site.member.clone(),
        };
        match self
            .tasks
            .iter_mut()
            .find(|task| task.words == site.due.words)
        {
            Some(task) => task.sites.push(place),
            None => self.tasks.push(Task {
                what: site.due.what,
                words: site.due.words.clone(),
                by: site.due.by,
                sites: vec![place],
            }),
        }
    }
}

fn in_short(layers: &[WeekLayer]) -> String {
    let at = |depth| {
        let layer = layers.iter().find(|layer| layer.depth == depth);
        layer.map_or(0, |layer| layer.sites)
    };
    let (now, begun) = (at(LayerDepth::Now), at(LayerDepth::Begun));
    match (now, begun) {
        (0, 0) => "Nothing has to be done this week.".to_owned(),
        (0, begun) => format!("Work has begun at {}.", counted(begun, "site")),
        (now, 0) => format!("{} cannot wait.", counted(now, "site")),
        (now, begun) => format!(
            "{} cannot wait; work has begun at {begun} more.",
            counted(now, "site")
        ),
    }
}
