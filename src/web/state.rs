//! What requests work with: the configuration in force, the database, and what was worked out before.

use super::answers::NoPage;
use super::kept::KeptValues;
use super::rate::{Allowance, Tries};
use super::viewer::Viewer;
use crate::clock::Clock;
use crate::config::{Config, Web};
use crate::domain::notation::Notation;
use crate::domain::place::site::Site;
use crate::in_force::Fault;
use crate::key::{Key, NoRandomness};
use crate::report::calendar::SiteCalendar;
use crate::report::kept_sites::KeptSites;
use crate::report::shown_day;
use crate::report::site_view::SiteView;
use crate::report::status::{OnDisk, ShownSites, Status, StatusMoment, StatusSite};
use crate::report::week::Week;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::collections::{BTreeSet, HashMap, HashSet};
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// The configuration in force.
#[derive(Debug, Clone)]
pub struct PageConfig {
    /// What it says.
    pub config: Arc<Config>,
    /// The digest of its text.
    pub digest: String,
    /// What is wrong with members' tables.
    pub faults: Vec<Fault>,
}

/// What all requests share.
pub(super) struct PageState {
    in_force: watch::Receiver<PageConfig>,
    /// Where the page listens.
    listening: SocketAddr,
    /// Wakes the service.
    bell: Arc<Notify>,
    /// What forms bring along where nobody signs in.
    form_key: Key,
    /// Open connections that nobody uses at the moment.
    idle: Mutex<Vec<Store>>,
    weeks: Mutex<KeptValues<WeekOf, Week>>,
    status_sites: Mutex<HashMap<Notation, KeptSites<StatusSite>>>,
    site_calendars: Mutex<KeptSites<SiteCalendar>>,
    sites: Mutex<KeptValues<SiteOf, Option<SiteView>>>,
    /// The configuration in force, and the same as those read it who want numbers and dates written in
    /// another way.
    read_by: Mutex<Vec<(Arc<Config>, Arc<Config>)>>,
    calendars: Mutex<KeptValues<String, String>>,
    of_clients: Mutex<Tries<IpAddr>>,
    of_addresses: Mutex<Tries<String>>,
}

/// Members whose sites are shown, none is all; whether it is for the operator; how it is written.
type WeekOf = (Option<Arc<BTreeSet<String>>>, bool, Notation);
/// A site, and how it is written.
type SiteOf = (String, Notation);

/// Most weeks that are kept.
const MOST_WEEKS: usize = 256;
/// Most sites that are kept.
const MOST_SITES: usize = 64;
/// Most ways of writing that a configuration is kept for.
const MOST_NOTATIONS: usize = 8;

/// Most calendars that are kept: those of all sites of a large co-op have megabytes.
const MOST_CALENDARS: usize = 4;

/// Links that somebody at one address of the network may ask for.
const OF_A_CLIENT: Allowance = Allowance {
    at_once: 20,
    one_in: Duration::from_secs(60),
};

/// Links that may be asked for by one mail address.
const OF_AN_ADDRESS: Allowance = Allowance {
    at_once: 3,
    one_in: Duration::from_secs(300),
};

/// A question to the report that is asked with the configuration, the database and the day.
pub(super) struct Question<'a> {
    /// What is configured.
    pub config: &'a Config,
    /// What is stored, for reading only.
    pub store: &'a Store,
    /// The day that is shown.
    pub today: NaiveDate,
}

/// Connections that are kept open.
const MOST_IDLE: usize = 4;

impl PageState {
    /// # Errors
    /// [`NoRandomness`] if the system has none.
    pub fn new(
        in_force: watch::Receiver<PageConfig>,
        listening: SocketAddr,
        bell: Arc<Notify>,
    ) -> Result<Self, NoRandomness> {
        Ok(Self {
            in_force,
            listening,
            bell,
            form_key: Key::random()?,
            idle: Mutex::default(),
            weeks: Mutex::new(KeptValues::new(MOST_WEEKS)),
            status_sites: Mutex::default(),
            site_calendars: Mutex::default(),
            sites: Mutex::new(KeptValues::new(MOST_SITES)),
            read_by: Mutex::default(),
            calendars: Mutex::new(KeptValues::new(MOST_CALENDARS)),
            of_clients: Mutex::new(Tries::new(OF_A_CLIENT)),
            of_addresses: Mutex::new(Tries::new(OF_AN_ADDRESS)),
        })
    }

    /// The table `[web]` as it is now; none if it was taken away.
    pub fn web(&self) -> Option<Web> {
        self.in_force.borrow().config.web.clone()
    }

    /// Where the page listens.
    pub fn listening(&self) -> SocketAddr {
        self.listening
    }

    /// Whether people sign in. A socket that was handed over may be open to others whatever is configured.
    pub fn wants_sign_in(&self, web: &Web) -> bool {
        web.sign_in || !self.listening.ip().to_canonical().is_loopback()
    }

    /// What forms bring along where nobody signs in.
    pub fn form_key(&self) -> &Key {
        &self.form_key
    }

    /// Lets the service look at once what there is to send.
    pub fn ring(&self) {
        self.bell.notify_one();
    }

    /// Counts a try of somebody at an address of the network. Of the sixth version of addresses
    /// everybody has a network of their own, so that counts.
    ///
    /// # Errors
    /// How long to wait, if they have tried too often.
    pub fn try_of_client(&self, client: IpAddr) -> Result<(), Duration> {
        let who = match client {
            IpAddr::V4(_) => client,
            IpAddr::V6(long) => Ipv6Addr::from_bits(long.to_bits() & !u128::from(u64::MAX)).into(),
        };
        taken(&self.of_clients).take(&who, Clock::Machine.steady())
    }

    /// Counts a link that is asked for by a mail address.
    ///
    /// # Errors
    /// How long to wait, if there were too many.
    pub fn try_of_address(&self, address: &str) -> Result<(), Duration> {
        taken(&self.of_addresses).take(&address.to_owned(), Clock::Machine.steady())
    }

    /// The configuration as it is now.
    pub fn in_force(&self) -> PageConfig {
        self.in_force.borrow().clone()
    }

    /// Answers with the database open for reading.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn ask<T>(
        &self,
        answer: impl FnOnce(Question<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let config = self.in_force().config;
        self.read(|store| {
            let today = today(&config, store)?;
            answer(Question {
                config: &config,
                store,
                today,
            })
        })
    }

    /// The same for what needs neither configuration nor day.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn read<T>(
        &self,
        answer: impl FnOnce(&Store) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let kept = taken(&self.idle).pop();
        let store = match kept {
            Some(store) => store,
            None => Store::open_to_read(&self.in_force().config.service.database)?,
        };
        let answered = answer(&store)?;
        // One that failed is not kept.
        let mut idle = taken(&self.idle);
        if idle.len() < MOST_IDLE {
            idle.push(store);
        }
        Ok(answered)
    }

    /// Changes what is stored.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails, or is not there.
    pub fn write<T>(
        &self,
        change: impl FnOnce(&mut Store) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let database = &self.in_force().config.service.database;
        // One that has gone is not for the page to make anew.
        drop(Store::open_to_read(database)?);
        change(&mut Store::open(database)?)
    }

    /// The configuration in force, with numbers and dates as somebody wants them written.
    pub fn in_force_for(&self, viewer: &Viewer) -> PageConfig {
        self.in_force_in(viewer.notation.as_ref())
    }

    /// The configuration in force, with numbers and dates written in a way of one's own.
    pub fn in_force_in(&self, own: Option<&Notation>) -> PageConfig {
        let in_force = self.in_force();
        let usual = &in_force.config.service.notation;
        let Some(own) = own.filter(|own| *own != usual) else {
            return in_force;
        };
        let mut read_by = taken(&self.read_by);
        read_by.retain(|(of, _)| Arc::ptr_eq(of, &in_force.config));
        let known = read_by.iter().find(|(_, one)| one.service.notation == *own);
        let config = match known {
            Some((_, config)) => Arc::clone(config),
            None => {
                let mut config = Config::clone(&in_force.config);
                config.service.notation = own.clone();
                let config = Arc::new(config);
                read_by.truncate(MOST_NOTATIONS - 1);
                read_by.push((Arc::clone(&in_force.config), Arc::clone(&config)));
                config
            }
        };
        PageConfig { config, ..in_force }
    }

    /// What is to be done at the sites that somebody sees, worked out anew only when something has
    /// changed. What is wrong with the service is for the operator.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn week(&self, viewer: &Viewer) -> Result<Arc<Week>, StoreError> {
        let in_force = self.in_force_for(viewer);
        let config = &in_force.config;
        let notation = config.service.notation.clone();
        let of = (viewer.members.clone(), viewer.is_operator, notation);
        taken(&self.weeks).value(&self.in_force().config, of, |store, today| {
            let moment = StatusMoment {
                today,
                now: Clock::Machine.now(),
                configuration: OnDisk::Usable(&in_force.digest),
                faults: &in_force.faults,
            };
            let shown = ShownSites {
                members: viewer.members.as_deref(),
                ..ShownSites::default()
            };
            let sites = self.status_sites(config, store, today, shown)?;
            let status = Status::of_sites(config, store, shown, moment, &sites)?;
            Ok(Week::of(&status, viewer.is_operator))
        })
    }

    /// Where the shown sites stand today; worked out anew only of sites where something has changed.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    fn status_sites(
        &self,
        config: &Arc<Config>,
        store: &Store,
        today: NaiveDate,
        shown: ShownSites<'_>,
    ) -> Result<Vec<Arc<StatusSite>>, StoreError> {
        let ids = shown.ids(config);
        let is_shown = |site: &Site| ids.contains(site.id.as_str());
        let mut kept = taken(&self.status_sites);
        let notation = &config.service.notation;
        if kept.len() >= MOST_NOTATIONS && !kept.contains_key(notation) {
            kept.clear();
        }
        let kept = kept.entry(notation.clone()).or_default();
        kept.of(
            config,
            store,
            today,
            is_shown,
            |site| &site.id,
            |anew| StatusSite::of_all(config, store, today, anew),
        )
    }

    /// Works out anew where sites stand at which something has changed, for all who have asked before, so
    /// that nobody waits for it.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn look_ahead(&self) -> Result<(), StoreError> {
        let in_force = self.in_force().config;
        let read_by = taken(&self.read_by);
        let current = read_by.iter().filter(|(of, _)| Arc::ptr_eq(of, &in_force));
        let mut configs: Vec<Arc<Config>> = current.map(|(_, config)| Arc::clone(config)).collect();
        drop(read_by);
        configs.insert(0, Arc::clone(&in_force));
        self.read(|store| {
            let today = today(&in_force, store)?;
            for config in &configs {
                self.status_sites(config, store, today, ShownSites::default())?;
            }
            Ok(())
        })
    }

    /// All there is to show of a site to somebody who sees it, worked out anew only when something has
    /// changed.
    ///
    /// # Errors
    /// [`NoPage::NotFound`] if there is none that they see, [`NoPage::Store`] if the database fails.
    pub fn site(&self, viewer: &Viewer, id: &str) -> Result<Arc<Option<SiteView>>, NoPage> {
        let in_force = self.in_force_for(viewer);
        let config = &in_force.config;
        let of = viewer.site(config, id)?;
        let key = (id.to_owned(), config.service.notation.clone());
        let made = taken(&self.sites).value(&self.in_force().config, key, |store, today| {
            SiteView::of(config, store, of, today)
        })?;
        Ok(made)
    }

    /// What today holds for some sites; worked out anew only of those where something has changed.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn site_calendars(
        &self,
        config: &Arc<Config>,
        store: &Store,
        today: NaiveDate,
        sites: &HashSet<String>,
    ) -> Result<Vec<Arc<SiteCalendar>>, StoreError> {
        let is_wanted = |site: &Site| sites.contains(&site.id);
        taken(&self.site_calendars).of(
            config,
            store,
            today,
            is_wanted,
            |calendar| &calendar.site,
            |anew| SiteCalendar::of_all(config, store, today, anew),
        )
    }

    /// A reader's calendar under a configuration, made anew only when something has changed since.
    ///
    /// # Errors
    /// Those of `make`, and if the database fails.
    pub fn calendar<E: From<StoreError>>(
        &self,
        in_force: &PageConfig,
        reader: &str,
        make: impl FnOnce() -> Result<String, E>,
    ) -> Result<Arc<String>, E> {
        let mut calendars = taken(&self.calendars);
        calendars.value(&in_force.config, reader.to_owned(), |_, _| make())
    }
}

/// Today; in a demonstration the day of its last cycle.
pub(super) fn today(config: &Config, store: &Store) -> Result<NaiveDate, StoreError> {
    shown_day(config, store, Clock::Machine.civil_day())
}

/// A value that a panic elsewhere has not spoilt: it is replaced as a whole, or popped.
fn taken<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
