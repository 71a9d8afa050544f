//! Certificates for servers of the tests.

use super::smtp_peer::SmtpPeer;
use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, DnType, IsCa, KeyPair};
use std::path::{Path, PathBuf};

/// An authority of our own, and a certificate of it for 127.0.0.1, as files for the server.
pub struct Certificates {
    folder: tempfile::TempDir,
    /// The authority, PEM.
    pub authority: String,
}

impl Certificates {
    pub fn new() -> Self {
        Self::of("Alderbrook test authority")
    }

    pub fn of(authority: &str) -> Self {
        let mut params = CertificateParams::new(Vec::new()).expect("parameters");
        params
            .distinguished_name
            .push(DnType::CommonName, authority);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let issuer = CertifiedIssuer::self_signed(params, new_key()).expect("an authority");
        let server_key = new_key();
        let server = CertificateParams::new(vec!["127.0.0.1".to_owned()])
            .and_then(|params| params.signed_by(&server_key, &issuer))
            .expect("a certificate");
        let folder = tempfile::tempdir().expect("a temporary folder");
        let write = |name: &str, pem: String| {
            std::fs::write(folder.path().join(name), pem).expect("a written file");
        };
        write("server.pem", server.pem());
        write("server.key", server_key.serialize_pem());
        Self {
            authority: issuer.pem(),
            folder,
        }
    }

    /// One of its files: `server.pem`, `server.key`.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// A server with this certificate and further options.
    pub fn server(&self, options: &[&str]) -> SmtpPeer {
        let text = |path: &Path| path.to_str().expect("a path in UTF-8").to_owned();
        let (cert, key) = (
            text(&self.path("server.pem")),
            text(&self.path("server.key")),
        );
        let mut all = vec!["--tls-cert", &cert, "--tls-key", &key];
        all.extend(options);
        SmtpPeer::start(&all)
    }
}

fn new_key() -> KeyPair {
    KeyPair::generate().expect("a key")
}
