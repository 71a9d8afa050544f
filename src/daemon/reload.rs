//! Reading the configuration anew.

use super::door::ReloadVerdict;
use super::{Daemon, mind_keys, notify};
use crate::clock::Clock;
use crate::config::load_isolating;
use crate::config::problem::{Problem, Severity};
use crate::cycle::Setup;
use crate::in_force::{Fault, KeptMember, Refused};
use crate::web::PageConfig;
use sd_notify::NotifyState;
use std::path::Path;
use std::sync::Arc;
use tracing::{error, info, warn};

impl Daemon<'_> {
    /// Reads the configuration anew. A bad one is reported and the old one stays in force.
    pub(super) async fn reload(&mut self) -> ReloadVerdict {
        if let Ok(since) = NotifyState::monotonic_usec_now() {
            notify(&[NotifyState::Reloading, since]);
        }
        let verdict = self.take_configuration();
        // While the database fails this waits until it works again.
        let noted = match self.begun && self.outage.is_none() {
            true => self.note_verdict(&verdict),
            false => Ok(()),
        };
        notify(&[NotifyState::Ready, NotifyState::Status(&verdict.words)]);
        if let Err(problem) = noted {
            self.failed(&problem).await;
        }
        verdict
    }

    fn note_verdict(&mut self, verdict: &ReloadVerdict) -> Result<(), crate::store::StoreError> {
        let store = &mut self.engine.store;
        if verdict.taken {
            store.note_in_force(&self.standing, self.read_at)?;
            return mind_keys(store, &self.engine.config);
        }
        store.note_refused(&Refused {
            at: Clock::Machine.now(),
            why: verdict.problems.first().unwrap_or(&verdict.words).clone(),
        })
    }

    /// What became of it.
    fn take_configuration(&mut self) -> ReloadVerdict {
        let engine = &mut self.engine;
        let members: &[KeptMember] = &self.standing.members;
        let last_good = |_: &Path| members.to_vec();
        let loaded = match load_isolating(self.config_path, &last_good) {
            Ok(loaded) => loaded,
            Err(problems) => {
                let is_error = |one: &&Problem| one.severity == Severity::Error;
                let errors = problems.iter().filter(is_error).map(ToString::to_string);
                return refused("", errors.collect());
            }
        };
        if loaded.config.service.database != engine.config.service.database {
            return refused("a new database needs a restart: ", Vec::new());
        }
        let setup = match Setup::of(&loaded.config) {
            Ok(setup) => setup,
            Err(problem) => return refused("", vec![problem]),
        };
        let mut problems: Vec<String> = Vec::new();
        for warning in loaded.warnings_on(engine.clock.civil_day()) {
            warn!("{warning}");
            problems.push(warning.to_string());
        }
        let faults = &loaded.standing.faults;
        report(faults);
        let faulty = !faults.is_empty();
        let of_faults = faults.iter().flat_map(|fault| fault.problems.clone());
        problems.splice(0..0, of_faults);
        let mut words = "the new configuration is in force".to_owned();
        if faulty {
            let each = faults.iter().map(|fault| match fault.goes_on {
                true => format!("{} goes on as last configured", fault.subject),
                false => format!("{} is left out", fault.subject),
            });
            words += &format!(", but {}", each.collect::<Vec<_>>().join(", "));
        }
        self.standing = loaded.standing;
        self.read_at = Clock::Machine.now();
        self.faults_noted = false;
        let config = Arc::new(loaded.config);
        engine.adopt(Arc::clone(&config), setup);
        self.in_force.send_replace(PageConfig {
            config,
            digest: self.standing.digest.clone(),
            faults: self.standing.faults.clone(),
        });
        info!("{words}");
        ReloadVerdict {
            taken: true,
            words,
            problems,
            faulty,
        }
    }
}

/// Says in the log what is wrong with members.
pub(super) fn report(faults: &[Fault]) {
    for problem in faults.iter().flat_map(|fault| &fault.problems) {
        error!("{problem}");
    }
}

fn refused(why: &str, problems: Vec<String>) -> ReloadVerdict {
    for problem in &problems {
        error!("{problem}");
    }
    let words = format!("reload refused: {why}the old configuration stays in force");
    error!("{words}");
    ReloadVerdict {
        taken: false,
        words,
        problems,
        faulty: true,
    }
}
