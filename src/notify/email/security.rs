//! How a connection to the mail server is encrypted, made ready once.

use std::io;
use std::sync::Arc;

use lettre::transport::smtp::client::{Certificate, TlsParameters, TlsParametersBuilder};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls::{ClientConfig, crypto::CryptoProvider};
use rustls_platform_verifier::Verifier;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;

use super::{SmtpSecurity, SmtpSettings};
use crate::tls::causes;

/// What [`SmtpSecurity`] needs. The connector of STARTTLS only finds out whether a server that is
/// silent waits for TLS.
pub(super) enum Security {
    StartTls(Box<TlsParameters>, TlsConnector),
    Tls(TlsConnector),
    Plain,
}

impl Security {
    /// # Errors
    /// A text that says why TLS cannot be set up.
    pub fn of(settings: &SmtpSettings) -> Result<Self, String> {
        if settings.security == SmtpSecurity::Plain {
            return Ok(Self::Plain);
        }
        crate::tls::install_tls_provider();
        let authorities = extra_authorities(settings.extra_ca_pem.as_deref())?;
        let failed = |error: &dyn std::fmt::Display| {
            format!("mail server {}: setting up TLS: {error}", settings.host)
        };
        let connector = connector(&authorities).map_err(|error| failed(&error))?;
        if settings.security == SmtpSecurity::Tls {
            return Ok(Self::Tls(connector));
        }
        let mut builder = TlsParametersBuilder::new(settings.host.clone());
        for authority in authorities {
            let certificate = Certificate::from_der(authority.to_vec())
                .map_err(|error| format!("extra CA certificates: {error}"))?;
            builder = builder.add_root_certificate(certificate);
        }
        let parameters = builder.build_rustls().map_err(|error| failed(&error))?;
        Ok(Self::StartTls(Box::new(parameters), connector))
    }
}

/// What connections to a server that is no mail server are encrypted with.
///
/// # Errors
/// A text that says why TLS cannot be set up.
pub(in crate::notify) fn tls_connector(
    extra_ca_pem: Option<&[u8]>,
) -> Result<TlsConnector, String> {
    crate::tls::install_tls_provider();
    let authorities = extra_authorities(extra_ca_pem)?;
    connector(&authorities).map_err(|error| format!("setting up TLS: {error}"))
}

/// Trusts the machine's authorities and these.
fn connector(authorities: &[CertificateDer<'static>]) -> Result<TlsConnector, rustls::Error> {
    let provider = CryptoProvider::get_default()
        .ok_or_else(|| rustls::Error::General("no cryptography is installed".to_owned()))?;
    let verifier =
        Verifier::new_with_extra_roots(authorities.iter().cloned(), Arc::clone(provider))?;
    let config = ClientConfig::builder()
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(verifier))
        .with_no_client_auth();
    Ok(TlsConnector::from(Arc::new(config)))
}

/// Whether a handshake shows that the server speaks TLS, trusted or not.
pub(super) fn speaks_tls<S>(handshake: &io::Result<TlsStream<S>>) -> bool {
    let Err(error) = handshake else { return true };
    causes(error)
        .filter_map(|cause| cause.downcast_ref::<rustls::Error>())
        .any(|cause| !matches!(cause, rustls::Error::InvalidMessage(_)))
}

/// Certificates of further authorities to trust.
fn extra_authorities(pem: Option<&[u8]>) -> Result<Vec<CertificateDer<'static>>, String> {
    let Some(pem) = pem else {
        return Ok(Vec::new());
    };
    let certificates: Vec<_> = CertificateDer::pem_slice_iter(pem)
        .collect::<Result<_, _>>()
        .map_err(|error| format!("extra CA certificates: not valid PEM: {error}"))?;
    if certificates.is_empty() {
        return Err(
            "extra CA certificates: no certificate in the text; give PEM with BEGIN CERTIFICATE"
                .to_owned(),
        );
    }
    Ok(certificates)
}
