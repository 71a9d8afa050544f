//! Connections to servers: setting TLS up, and finding out why a connection failed.

use std::error::Error;
use std::io;

/// Makes `ring` the cryptography of every TLS connection of the process. Calling it again changes
/// nothing.
pub fn install_tls_provider() {
    // An error means that a provider is in place already.
    let _ = rustls::crypto::ring::default_provider().install_default();
}

/// The root certificates in a PEM text, to be trusted beside those of the machine.
///
/// # Errors
/// A text that says what is wrong if the PEM cannot be read or holds no certificate.
pub fn root_certificates(pem: &[u8]) -> Result<Vec<reqwest::Certificate>, String> {
    let certificates = reqwest::Certificate::from_pem_bundle(pem).map_err(|error| {
        format!(
            "the extra root certificates cannot be read: {}; give them in PEM form",
            innermost(&error)
        )
    })?;
    if certificates.is_empty() {
        return Err(
            "the extra root certificates hold none; give a PEM file with a part that begins \
             -----BEGIN CERTIFICATE-----"
                .to_owned(),
        );
    }
    Ok(certificates)
}

/// The text of the last error in a chain of causes, which says what really happened.
pub fn innermost(error: &(dyn Error + 'static)) -> String {
    causes(error)
        .last()
        .map_or_else(String::new, ToString::to_string)
}

/// What TLS objected to, if it was TLS: a certificate that is not trusted, out of date or made out
/// to somebody else, or a server that does not speak it.
pub fn tls_objection(error: &(dyn Error + 'static)) -> Option<String> {
    causes(error)
        .find_map(|cause| cause.downcast_ref::<rustls::Error>())
        .map(ToString::to_string)
}

/// An error, its cause, the cause of that, and so on.
pub fn causes<'e>(
    error: &'e (dyn Error + 'static),
) -> impl Iterator<Item = &'e (dyn Error + 'static)> {
    std::iter::successors(Some(error), |error| cause(*error))
}

/// What lies directly behind an error. An [`io::Error`] passes over the error it wraps when it is
/// asked for its source, so that one is unwrapped.
fn cause<'e>(error: &'e (dyn Error + 'static)) -> Option<&'e (dyn Error + 'static)> {
    match error
        .downcast_ref::<io::Error>()
        .and_then(io::Error::get_ref)
    {
        Some(wrapped) => Some(wrapped),
        None => error.source(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_provider_can_be_installed_twice() {
        install_tls_provider();
        install_tls_provider();
        assert!(rustls::crypto::CryptoProvider::get_default().is_some());
    }

    #[test]
    fn a_file_without_certificates_is_refused() {
        let problem = root_certificates(b"not a certificate\n").unwrap_err();
        assert!(problem.contains("hold none"), "{problem}");
    }

    #[test]
    fn a_damaged_certificate_is_refused() {
        let pem = b"-----BEGIN CERTIFICATE-----\n!!!\n-----END CERTIFICATE-----\n";
        let problem = root_certificates(pem).unwrap_err();
        assert!(problem.contains("cannot be read"), "{problem}");
    }
}
