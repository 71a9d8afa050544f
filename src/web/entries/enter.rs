//! Forms for what was done and seen: shown, taken, and shown again with what is wrong.

use super::form::{FormGroup, FormOf, Input, Wrong};
use super::kind::{EntryKind, wrong_field};
use super::sent::Sent;
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::journal::{Entry, JournalAction};
use crate::domain::named;
use crate::domain::place::site::Site;
use crate::domain::scouting::USUAL_PRECISION;
use crate::entries::{Journal, NewEntry, NotEntered};
use crate::report::scout::{Sampling, SamplingPlan};
use crate::store::Store;
use crate::web::answers::{NoPage, page};
use crate::web::state::{PageState, today};
use crate::web::viewer::Viewer;
use askama::Template;
use axum::Form;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use chrono::NaiveDate;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "entry_form.html", config = "src/web/askama.toml")]
struct EntryForm<'f> {
    site: &'f Site,
    title: String,
    groups: Vec<FormGroup>,
    /// What is wrong with the form, each with the field's label and name.
    wrong: Vec<(String, &'f str, &'f str)>,
    key: String,
    form_key: String,
    send: &'static str,
    hints: Vec<String>,
}

/// A form that is to be shown.
struct Shown<'s> {
    /// Who asks for it.
    viewer: &'s Viewer,
    of: FormOf<'s>,
    /// The number of the entry that is corrected.
    corrects: Option<i64>,
    sent: Sent,
    wrong: Wrong,
    hints: Vec<String>,
}

/// The fewest fields for samples, and the most that are offered; more than that can be typed in all.
const SAMPLES: (usize, usize) = (10, 40);

/// `GET /sites/lawn/enter/water`: a form, filled in as far as a task tells.
pub(in crate::web) async fn blank(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path((site, kind)): Path<(String, String)>,
    Query(task): Query<Vec<(String, String)>>,
) -> Result<Response, NoPage> {
    let kind = named(&EntryKind::NAMED, &kind).ok_or(NoPage::NotFound)?;
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        shared.ask(|asked| {
            let of = match viewer.site(&config, &site) {
                Ok((_, site)) => form_of(&config, asked.store, site, kind, asked.today),
                Err(problem) => return Ok(Err(problem)),
            };
            let (of, hints) = of;
            let shown = Shown {
                viewer: &viewer,
                sent: of.blank(asked.today, &Sent(task)),
                of,
                corrects: None,
                wrong: Vec::new(),
                hints,
            };
            let key = asked.store.fresh_key()?;
            Ok(show(&shown, key, StatusCode::OK))
        })?
    });
    made.await?
}

/// `GET /sites/lawn/journal/12`: the form of an entry, to correct it.
pub(in crate::web) async fn filled(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path((site, number)): Path<(String, i64)>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        shared.ask(|asked| {
            let site = match viewer.site(&config, &site) {
                Ok((_, site)) => site,
                Err(problem) => return Ok(Err(problem)),
            };
            let Some(entry) = asked.store.entry(number)?.filter(|one| one.site == site.id) else {
                return Ok(Err(NoPage::NotFound));
            };
            let kind = EntryKind::of(&entry.action);
            let (of, hints) = form_of(&config, asked.store, site, kind, asked.today);
            let shown = Shown {
                viewer: &viewer,
                sent: of.filled(&entry),
                of,
                corrects: Some(number),
                wrong: Vec::new(),
                hints,
            };
            let key = asked.store.fresh_key()?;
            Ok(show(&shown, key, StatusCode::OK))
        })?
    });
    made.await?
}

/// `POST /sites/lawn/enter/water`: enters what the form says.
pub(in crate::web) async fn take(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path((site, kind)): Path<(String, String)>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Result<Response, NoPage> {
    let kind = named(&EntryKind::NAMED, &kind).ok_or(NoPage::NotFound)?;
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        let (_, site) = viewer.site(&config, &site)?;
        let mut journal = open(&config, site, &viewer)?;
        entered(&viewer, &mut journal, kind, None, Sent(sent))
    });
    made.await?
}

/// `POST /sites/lawn/journal/12`: puts what the form says in the place of the entry.
pub(in crate::web) async fn correct(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path((site, number)): Path<(String, i64)>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        let (_, site) = viewer.site(&config, &site)?;
        let mut journal = open(&config, site, &viewer)?;
        let sent = Sent(sent);
        // Sent twice: the entry is replaced already.
        if let Some(number) = journal.store.made_with(&site.id, sent.one("key"))? {
            return Ok(to_said(site, number));
        }
        let entry = journal.store.entry(number)?;
        let Some(old) = entry.filter(|one| one.site == site.id) else {
            return Err(NoPage::NotFound);
        };
        entered(
            &viewer,
            &mut journal,
            EntryKind::of(&old.action),
            Some(&old),
            sent,
        )
    });
    made.await?
}

/// Enters what was sent, or shows the form again.
fn entered(
    viewer: &Viewer,
    journal: &mut Journal<'_>,
    kind: EntryKind,
    old: Option<&Entry>,
    sent: Sent,
) -> Result<Response, NoPage> {
    let (config, site) = (journal.config, journal.site);
    if let Some(number) = journal.store.made_with(&site.id, sent.one("key"))? {
        return Ok(to_said(site, number));
    }
    let (of, hints) = form_of(config, &journal.store, site, kind, journal.today);
    let wrong = match of.read(&sent) {
        Ok(new) => match put(journal, old, new, sent.has("sure")) {
            Ok(entry) => return Ok(to_said(site, entry.number)),
            Err(NotEntered::Store(problem)) => return Err(problem.into()),
            Err(problem) => vec![wrong_field(&problem, kind)],
        },
        Err(wrong) => wrong,
    };
    // What failed made no entry, so its key is still good.
    let key = match sent.one("key") {
        "" => journal.store.fresh_key()?,
        key => key.to_owned(),
    };
    let shown = Shown {
        viewer,
        of,
        corrects: old.map(|old| old.number),
        sent,
        wrong,
        hints,
    };
    show(&shown, key, StatusCode::UNPROCESSABLE_ENTITY)
}

fn put(
    journal: &mut Journal<'_>,
    old: Option<&Entry>,
    new: NewEntry,
    sure: bool,
) -> Result<Entry, NotEntered> {
    if let (JournalAction::Catch { species, beetles }, None) = (&new.action, old)
        && *beetles != Some(0)
        && let Some(compared) = journal.compare_catch(species, new.day)?
        && compared.is_doubted
        && !sure
    {
        return Err(NotEntered::EarlyCatch(compared.words));
    }
    match old {
        Some(old) => journal.replace(old, new),
        None => journal.enter(new),
    }
}

/// The journal of a site, open for entering.
pub(super) fn open<'c>(
    config: &'c Config,
    site: &'c Site,
    viewer: &Viewer,
) -> Result<Journal<'c>, NoPage> {
    // One that is missing is not made here.
    drop(Store::open_to_read(&config.service.database)?);
    let journal = of_store(config, site, Store::open(&config.service.database)?)?;
    Ok(Journal {
        line: viewer.line.clone(),
        ..journal
    })
}

/// The same for reading only.
pub(super) fn reading<'c>(config: &'c Config, site: &'c Site) -> Result<Journal<'c>, NoPage> {
    of_store(config, site, Store::open_to_read(&config.service.database)?)
}

fn of_store<'c>(config: &'c Config, site: &'c Site, store: Store) -> Result<Journal<'c>, NoPage> {
    let today = today(config, &store)?;
    Ok(Journal {
        config,
        site,
        store,
        today,
        now: Clock::Machine.now(),
        line: None,
    })
}

/// Where what is said of an entry stands. 303: a reload asks for it and sends nothing.
fn to_said(site: &Site, number: i64) -> Response {
    let site = super::journal::address(&site.id);
    Redirect::to(&format!("{site}?said={number}")).into_response()
}

fn form_of<'f>(
    config: &'f Config,
    store: &Store,
    site: &'f Site,
    kind: EntryKind,
    today: NaiveDate,
) -> (FormOf<'f>, Vec<String>) {
    let mut of = FormOf {
        config,
        site,
        kind,
        samples: SAMPLES.0,
    };
    let mut hints = Vec::new();
    if kind == EntryKind::Count {
        let sampling = Sampling {
            area: site.samples.area(),
            precision: USUAL_PRECISION,
        };
        // Without a plan for sampling the form has its fewest fields.
        if let Ok(plan) = SamplingPlan::of(config, store, site, None, sampling, today) {
            hints.push(plan.how_to_dig);
            for species in plan.species {
                let samples = species.samples as usize;
                of.samples = of.samples.max(samples.min(SAMPLES.1));
                hints.push(format!("{}: {}", species.name, species.samples_in_words));
            }
        }
    }
    (of, hints)
}

fn show(shown: &Shown<'_>, key: String, status: StatusCode) -> Result<Response, NoPage> {
    let title = shown.of.kind.title();
    let groups = shown.of.groups(&shown.sent, &shown.wrong);
    let label = |name: &str| {
        let mut fields = groups.iter().flat_map(|group| &group.fields);
        let field = fields.find(|field| field.name == name);
        field.map_or(String::new(), |field| field.label.clone())
    };
    let wrong = shown
        .wrong
        .iter()
        .map(|(name, why)| (label(name), *name, why.as_str()))
        .collect();
    let form = EntryForm {
        site: shown.of.site,
        title: match shown.corrects {
            Some(number) => format!("Correct number {number}: {title}"),
            None => title.to_owned(),
        },
        wrong,
        groups,
        key,
        form_key: shown.viewer.form_key().to_owned(),
        send: if shown.corrects.is_some() {
            "Put it in its place"
        } else {
            "Log it"
        },
        hints: shown.hints.clone(),
    };
    Ok((status, page(&form)?).into_response())
}
