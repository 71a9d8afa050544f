//! Further root certificates: there, readable, and in their time.

use super::folders::is_mine;
use super::{AS_SERVICE_USER, Defect};
use crate::config::problem::Severity;
use crate::tls::root_certificates;
use chrono::{DateTime, Days, Utc};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use std::io::ErrorKind;
use std::path::Path;
use x509_parser::parse_x509_certificate;

/// A certificate that ends within these days is worth a word.
const SOON: Days = Days::new(30);

/// What is wrong with a file of certificates.
pub(super) fn look(path: &Path, now: DateTime<Utc>) -> Vec<Defect> {
    let shown = path.display();
    let pem = match std::fs::read(path) {
        Ok(pem) => pem,
        Err(error) if error.kind() == ErrorKind::PermissionDenied && !is_mine(path) => {
            let text = format!("{shown}: cannot be read by this user; {AS_SERVICE_USER}");
            return vec![(Severity::Warning, text)];
        }
        Err(error) => {
            let text = format!(
                "{shown}: cannot be read ({error}); put the root certificates of your own servers \
                 there (PEM), or leave extra_ca_file out"
            );
            return vec![(Severity::Error, text)];
        }
    };
    if let Err(problem) = root_certificates(&pem) {
        return vec![(Severity::Error, format!("{shown}: {problem}"))];
    }
    let certificates = CertificateDer::pem_slice_iter(&pem).filter_map(Result::ok);
    let times: Vec<(String, Times)> = certificates.filter_map(|one| times(&one)).collect();
    let over = times.iter().filter(|(_, times)| times.end < now).count();
    // Beside one that is over its successor may stand.
    let severity = match over == times.len() {
        true => Severity::Error,
        false => Severity::Warning,
    };
    times
        .iter()
        .filter_map(|(name, times)| Some((severity, times, times.objection(now)?, name)))
        .map(|(severity, times, objection, name)| {
            let severity = match times.end < now {
                true => severity,
                false => Severity::Warning,
            };
            (
                severity,
                format!("{shown}: the certificate of {name} {objection}"),
            )
        })
        .collect()
}

/// From when to when a certificate holds.
struct Times {
    start: DateTime<Utc>,
    end: DateTime<Utc>,
}

impl Times {
    fn objection(&self, now: DateTime<Utc>) -> Option<String> {
        let day = |instant: DateTime<Utc>| instant.format("%Y-%m-%d");
        if self.end < now {
            Some(format!("ended on {}; renew it", day(self.end)))
        } else if self.start > now {
            let start = day(self.start);
            Some(format!("begins on {start}; is this machine's clock right?"))
        } else if self.end < now + SOON {
            Some(format!("ends on {}; renew it in time", day(self.end)))
        } else {
            None
        }
    }
}

/// The subject of a certificate and its times; none if it cannot be understood that far.
fn times(der: &[u8]) -> Option<(String, Times)> {
    let (_, certificate) = parse_x509_certificate(der).ok()?;
    let validity = certificate.validity();
    let instant = |seconds| DateTime::from_timestamp(seconds, 0);
    let times = Times {
        start: instant(validity.not_before.timestamp())?,
        end: instant(validity.not_after.timestamp())?,
    };
    let name: String = certificate.subject().to_string();
    let plain = name.chars().filter(|letter| !letter.is_control());
    Some((plain.take(200).collect(), times))
}
