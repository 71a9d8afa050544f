//! Evaluating: where every site stands, what to record, whom to tell. The decisions are the
//! domain's; this only brings it what is stored and writes down what it says.

use super::advising::{advise_site, follow_watering, steps_today};
use super::cases::{SiteCase, SpeciesCase, consider};
use super::data_notices::data_notices;
use super::digests::digests;
use super::site_states::SiteState;
use super::{Engine, Report};
use crate::config::Config;
use crate::domain::telling::counting_notice::{Countable, counted_notice, counting_notice};
use crate::domain::telling::hold_notice::hold_notice;
use crate::domain::telling::milestone_decision::{Decision, Recorded, decide};
use crate::domain::telling::milestone_notice::milestone_notices;
use crate::domain::telling::milestones_soon::{came_as_told, milestones_soon};
use crate::domain::telling::notice::{Notice, NoticeKind, bundles};
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::telling::season_letter::{Dated, SpeciesAhead, foretold, is_near, moved};
use crate::domain::telling::season_span::is_under_way;
use crate::domain::telling::treatment_notice::in_time;
use crate::domain::treatment::need::Need;
use crate::domain::treatment::site_plan::{PlanScope, SitePlan};
use crate::domain::treatment::steps::StepsToday;
use crate::notify::wording::message;
use crate::store::milestones::Recording;
use crate::store::outbox::{About, Draft};
use crate::store::{Store, StoreError};
use chrono::{DateTime, Utc};
use tracing::info;

/// What an evaluation comes to.
#[derive(Default)]
pub(super) struct Evaluation<'s> {
    /// What to write down.
    pub entries: Vec<Recording<'s>>,
    /// What to tell.
    pub notices: Vec<Notice<'s>>,
}

/// A site today, worked out once a cycle.
pub(super) struct SiteToday<'s> {
    /// The site.
    pub case: &'s SiteCase<'s>,
    /// Its plan of what is called for.
    pub plan: SitePlan<'s>,
    /// What was told of it this season.
    pub log: NoticeLog,
}

impl Engine {
    pub(super) fn evaluate(
        &mut self,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let (config, store) = (&self.config, &self.store);
        let considered = consider(config, store, now.date_naive())?;
        let mut evaluation = Evaluation::default();
        for of_member in considered.chunk_by(|a, b| a.member.id == b.member.id) {
            evaluation.add_member((config, store), of_member, now)?;
        }
        follow_watering(config, store, now, &mut evaluation)?;
        data_notices(config, store, &considered, now, &mut evaluation)?;
        let Evaluation {
            mut entries,
            notices,
        } = evaluation;
        let bundles = bundles(&config.members, &notices);
        let mut drafts: Vec<Draft<'_>> = bundles
            .iter()
            .map(|bundle| {
                let member = bundle.notices[0].member;
                let answer_to = config.answer_to(member);
                let message = message(&config.service.name, answer_to, bundle);
                Draft {
                    recipient: &bundle.recipient.id,
                    member: &member.id,
                    channel: bundle.channel,
                    title: message.title,
                    body: message.body,
                    urgent: bundle.is_urgent(),
                    about: About {
                        kinds: bundle.kinds(),
                        places: bundle.site_ids(),
                        task: bundle.task(),
                        deadline: bundle.deadline(),
                    },
                }
            })
            .collect();
        digests(config, store, &considered, now, &mut entries, &mut drafts)?;
        if entries.is_empty() && drafts.is_empty() {
            return Ok(());
        }
        self.store.record(&entries, &drafts, now)?;
        report.milestones = entries
            .iter()
            .filter(|entry| matches!(entry, Recording::Passed { .. }))
            .count();
        report.messages += drafts.len();
        Ok(())
    }
}

impl<'s> Evaluation<'s> {
    /// What there is to tell of a member's sites.
    fn add_member(
        &mut self,
        (config, store): (&'s Config, &Store),
        of_member: &'s [SiteCase<'s>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let sites = of_member
            .iter()
            .map(|case| {
                Ok(SiteToday {
                    case,
                    plan: case.plan(config, now.date_naive(), PlanScope::CalledFor),
                    log: store.notices_of_season(&case.site.id, case.season())?,
                })
            })
            .collect::<Result<Vec<_>, StoreError>>()?;
        let steps = steps_today(&sites);
        let told_before = self.notices.len();
        let mut recorded = Vec::with_capacity(sites.len());
        for site in &sites {
            recorded.push(self.add_site((config, store), (site, &steps), now)?);
        }
        self.add_counts(&sites, &recorded, now);
        let is_passed = |notice: &Notice<'_>| matches!(notice.kind, NoticeKind::Passed { .. });
        if self.notices[told_before..].iter().any(is_passed) {
            self.add_what_is_soon(store, of_member, now)?;
        }
        self.add_letters(config, &sites, now);
        Ok(())
    }

    /// A site: what there is to tell of each of its species and of treatments. What was recorded of each
    /// species before is given back.
    fn add_site(
        &mut self,
        (config, store): (&'s Config, &Store),
        (site, steps): (&SiteToday<'s>, &StepsToday),
        now: DateTime<Utc>,
    ) -> Result<Vec<Vec<Recorded>>, StoreError> {
        let (case, need) = (site.case, site.plan.need.need);
        let mut recorded = Vec::with_capacity(case.species.len());
        for species in &case.species {
            recorded.push(self.add_species((config, store), &species.here, need, now)?);
        }
        if let Some((kind, logged)) = advise_site(store, site, steps, now)? {
            self.tell(site, kind, logged);
        } else if let Some((kind, logged)) =
            counted_notice(&countable(case, &recorded), need, &site.log, now)
        {
            self.tell(site, kind, [logged]);
        }
        Ok(recorded)
    }

    /// Tells of a site as a whole, and keeps that.
    fn tell(
        &mut self,
        site: &SiteToday<'s>,
        kind: NoticeKind<'s>,
        logged: impl IntoIterator<Item = LoggedNotice>,
    ) {
        self.entries.extend(logged.into_iter().map(Recording::Told));
        self.notices.push(Notice {
            need: Some(site.plan.need.need),
            ..site.case.species[0].here.notice(kind)
        });
    }

    /// A site and one of its species: milestones and holds. What was recorded of it before is given back.
    fn add_species(
        &mut self,
        (config, store): (&Config, &Store),
        here: &'s SiteState<'s>,
        need: Need,
        now: DateTime<Utc>,
    ) -> Result<Vec<Recorded>, StoreError> {
        let (pair, season, today) = (here.pair(), here.state.season.year, now.date_naive());
        let recorded = store.recorded(pair, season)?;
        let log = store.notices_of_pair(pair, season)?;
        let mut tell = |kind| {
            self.notices.push(Notice {
                need: Some(need),
                ..here.notice(kind)
            });
        };

        let watched_from = store.watched_from(pair)?;
        let decision = decide(&here.state, &recorded, watched_from, today);
        write_down(&decision, here, &mut self.entries);
        let is_known = |crossing: &_| came_as_told(crossing, &log, &config.notices);
        for kind in milestone_notices(&decision, &here.species, &here.state, is_known, today) {
            tell(kind);
        }
        let is_under_way = is_under_way(&here.site_species(), &config.notices, today);
        if let Some((kind, logged)) = hold_notice(&here.site_species(), &log, is_under_way, now) {
            self.entries.push(Recording::Told(logged));
            tell(kind);
        }
        let told = store.foretold(pair, season)?;
        let moved = moved(&here.state, &told, &config.notices, today);
        self.foretell(here, moved);
        Ok(recorded)
    }

    /// Keeps dates that are told of milestones ahead.
    fn foretell(&mut self, here: &'s SiteState<'s>, dates: Vec<Dated>) {
        let dates = dates.into_iter();
        self.entries
            .extend(dates.map(|(foretold, range)| Recording::Foretold {
                pair: here.pair(),
                season: here.state.season.year,
                foretold,
                range,
            }));
    }

    /// Tells the people of a member, who hear of a milestone today, of those that are likely within two
    /// weeks, so that several sites or species make few messages.
    fn add_what_is_soon(
        &mut self,
        store: &Store,
        of_member: &'s [SiteCase<'s>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let pairs = || of_member.iter().flat_map(|case| &case.species);
        if pairs().count() < 2 {
            return Ok(());
        }
        for SpeciesCase { here, .. } in pairs() {
            let log = store.notices_of_pair(here.pair(), here.state.season.year)?;
            if let Some((kind, logged)) = milestones_soon(&here.site_species(), &log, now) {
                self.entries.extend(logged.into_iter().map(Recording::Told));
                self.notices.push(here.notice(kind));
            }
        }
        Ok(())
    }

    /// Asks for the counts at a member's sites that are due, and with them for those that can be made soon.
    fn add_counts(
        &mut self,
        sites: &[SiteToday<'s>],
        recorded: &[Vec<Vec<Recorded>>],
        now: DateTime<Utc>,
    ) {
        let ask = |(site, recorded): (&SiteToday<'s>, &Vec<Vec<Recorded>>), with_others| {
            counting_notice(&countable(site.case, recorded), &site.log, with_others, now)
        };
        let mut others = Vec::new();
        for one in sites.iter().zip(recorded) {
            match ask(one, false) {
                Some((kind, logged)) => self.tell(one.0, kind, [logged]),
                None => others.push(one),
            }
        }
        if others.len() == sites.len() {
            return;
        }
        for one in others {
            if let Some((kind, logged)) = ask(one, true) {
                self.tell(one.0, kind, [logged]);
            }
        }
    }

    /// The season's letter to the people of a member of whose sites a first milestone comes near: about all
    /// of them that had none this season.
    fn add_letters(&mut self, config: &Config, sites: &[SiteToday<'s>], now: DateTime<Utc>) {
        let today = now.date_naive();
        let without = || {
            let sites = sites.iter();
            sites.filter(|site| !site.log.has(LoggedKind::SeasonLetter))
        };
        let near = |species: &SpeciesCase<'_>| is_near(&species.here.state, &config.notices, today);
        if !without().any(|site| site.case.species.iter().any(near)) {
            return;
        }
        for site in without() {
            let case = site.case;
            let ahead = case.species.iter().map(|species| SpeciesAhead {
                species: &species.here.species,
                ahead: species.here.state.ahead.clone(),
            });
            let ready = site.plan.options.iter().map(|one| &one.planned);
            let kind = NoticeKind::SeasonAhead {
                species: ahead.collect(),
                ready: in_time(ready, today),
            };
            let logged = LoggedNotice {
                season: Some(case.season()),
                ..LoggedNotice::of_site(LoggedKind::SeasonLetter, &case.site.id, now)
            };
            self.tell(site, kind, [logged]);
            for species in &case.species {
                self.foretell(&species.here, foretold(&species.here.state, today));
            }
        }
    }
}
/// The species of a site with what decides whether to dig for them.
fn countable<'s, 'r>(
    case: &'s SiteCase<'s>,
    recorded: &'r [Vec<Recorded>],
) -> Vec<Countable<'s, 'r>>
where
    's: 'r,
{
    let species = case.species.iter().zip(recorded);
    species
        .map(|(species, recorded)| Countable {
            here: species.here.site_species(),
            evidence: &species.evidence,
            tolerance: species.tolerance,
            recorded,
        })
        .collect()
}

/// Writes down what was decided of milestones.
fn write_down<'s>(decision: &Decision, here: &'s SiteState<'s>, entries: &mut Vec<Recording<'s>>) {
    let (pair, season) = (here.pair(), here.state.season.year);
    if let Some(from) = decision.watch_from {
        entries.push(Recording::Watch { pair, from });
    }
    for (crossing, told) in &decision.record {
        info!(
            site = pair.site,
            species = pair.species,
            milestone = crossing.milestone.name(),
            on = %crossing.on,
            told,
            "milestone passed"
        );
        entries.push(Recording::Passed {
            pair,
            season,
            crossing: *crossing,
            data_through: here.state.data_through,
            told: *told,
        });
    }
    for known in &decision.withdraw {
        entries.push(Recording::Withdrawn {
            pair,
            season,
            milestone: known.milestone,
        });
    }
    for (known, crossing) in &decision.correct {
        entries.push(Recording::Corrected {
            pair,
            season,
            milestone: known.milestone,
            to: crossing.on,
        });
    }
}
