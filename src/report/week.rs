//! What is to be done this week, over all sites that somebody may see: worst first, in layers from
//! what presses now down to what needs nothing.

use super::status::{ProblemKind, SiteStatus, Status};
use super::task::put_off_words;
use super::words::counted;
use crate::domain::notation::Notation;
use crate::domain::treatment::due::Urgency;
use crate::store::postponements::Postponement;
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
    /// Somebody put it off.
    PutOff,
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
    /// The option it is about, by its id.
    pub option: Option<String>,
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
            Self::PutOff => "Put off here; alerts still go out",
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
            Self::PutOff => "put-off",
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
    /// What is said of the tasks after the first `most`, where they may be folded away: there are several,
    /// and none of them is to be done now.
    pub fn folded(&self, most: usize, notation: &Notation) -> Option<String> {
        let rest = self.tasks.get(most..)?;
        if self.depth == LayerDepth::Now || rest.len() < 2 {
            return None;
        }
        let first = rest.iter().filter_map(|task| task.by).min();
        let first = first.map(|day| format!(", the first by {}", notation.short_day(day)));
        Some(format!("{} more{}", rest.len(), first.unwrap_or_default()))
    }

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
                option: site.due.option.clone(),
                by: site.due.by,
                sites: vec![place],
            }),
        }
    }
}

impl Week {
    /// Sites from which on it helps to find one by name.
    const MANY_SITES: usize = 20;

    /// Whether there are so many sites that it helps to find one by name.
    pub fn is_long(&self) -> bool {
        self.layers.iter().map(|layer| layer.sites).sum::<usize>() > Self::MANY_SITES
    }

    /// The same with the sites alone whose name, or whose member's name, holds some text.
    pub fn found(mut self, text: &str) -> Self {
        let text = text.to_lowercase();
        let holds = |name: &str| name.to_lowercase().contains(&text);
        for layer in &mut self.layers {
            for task in &mut layer.tasks {
                let sites = &mut task.sites;
                sites.retain(|site| holds(&site.name) || holds(&site.member));
            }
            layer.tasks.retain(|task| !task.sites.is_empty());
            layer.sites = layer.tasks.iter().map(|task| task.sites.len()).sum();
        }
        self.layers.retain(|layer| !layer.tasks.is_empty());
        let sites = self.layers.iter().map(|layer| layer.sites).sum();
        self.in_short = match sites {
            0 => "No site or member of that name.".to_owned(),
            sites => format!(
                "{} found. {}",
                counted(sites, "site"),
                in_short(&self.layers)
            ),
        };
        self
    }

    /// The same where some tasks are put off: these lie in a layer of their own.
    pub fn with_put_off(mut self, put_off: &[Postponement], notation: &Notation) -> Self {
        if put_off.is_empty() {
            return self;
        }
        let mut deferred: Vec<Task> = Vec::new();
        for layer in &mut self.layers {
            for task in &mut layer.tasks {
                for one in put_off {
                    let is_it =
                        one.task == task.what && one.option == task.option.as_deref().unwrap_or("");
                    let Some(at) = task.sites.iter().position(|site| site.id == one.site) else {
                        continue;
                    };
                    if is_it {
                        let place = task.sites.remove(at);
                        layer.sites -= 1;
                        take_deferred(&mut deferred, task, place, one.until, notation);
                    }
                }
            }
            layer.tasks.retain(|task| !task.sites.is_empty());
        }
        self.layers.retain(|layer| !layer.tasks.is_empty());
        let sites = deferred.iter().map(|task| task.sites.len()).sum();
        if sites > 0 {
            let above = |layer: &WeekLayer| layer.depth < LayerDepth::PutOff;
            let at = self.layers.iter().take_while(|layer| above(layer)).count();
            self.layers.insert(
                at,
                WeekLayer {
                    depth: LayerDepth::PutOff,
                    title: LayerDepth::PutOff.title(),
                    tasks: deferred,
                    sites,
                },
            );
            self.in_short = format!(
                "{} {} put off.",
                in_short(&self.layers),
                if sites == 1 {
                    "1 is".to_owned()
                } else {
                    format!("{sites} are")
                }
            );
        }
        self
    }
}

fn take_deferred(
    deferred: &mut Vec<Task>,
    task: &Task,
    place: TaskSite,
    until: NaiveDate,
    notation: &Notation,
) {
    let words = put_off_words(&task.words, until, notation);
    match deferred.iter_mut().find(|one| one.words == words) {
        Some(one) => one.sites.push(place),
        None => deferred.push(Task {
            words,
            sites: vec![place],
            ..task.clone()
        }),
    }
}

fn in_short(layers: &[WeekLayer]) -> String {
    let at = |depth| {
        let layer = layers.iter().find(|layer| layer.depth == depth);
        layer.map_or(0, |layer| layer.sites)
    };
    let (now, begun) = (at(LayerDepth::Now), at(LayerDepth::Begun));
    match (now, begun) {
        (0, 0) if at(LayerDepth::Unclear) > 0 => {
            let unclear = match at(LayerDepth::Unclear) {
                1 => "1 site is unclear".to_owned(),
                more => format!("{more} sites are unclear"),
            };
            format!("{unclear}; elsewhere nothing has to be done this week.")
        }
        (0, 0) => "Nothing has to be done this week.".to_owned(),
        (0, begun) => format!("Work has begun at {}.", counted(begun, "site")),
        (now, 0) => format!("{} cannot wait.", counted(now, "site")),
        (now, begun) => format!(
            "{} cannot wait; work has begun at {begun} more.",
            counted(now, "site")
        ),
    }
}
