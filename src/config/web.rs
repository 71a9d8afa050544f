//! The table `[web]`: the page.

use super::fields::Fields;
use super::stations::checked_url;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// The page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Web {
    /// Where it listens, unless the service manager hands over a socket.
    pub listen: SocketAddr,
    /// How people reach it, for links in messages: a whole address that ends in `/`.
    pub address: Option<reqwest::Url>,
}

/// Where the page listens if nothing is said.
const USUAL: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 8417);

/// `[web]`, if it is there.
pub(super) fn web(top: &Fields<'_, '_>) -> Option<Web> {
    let table = top.table("web")?;
    let listen = table.text("listen").and_then(|text| {
        let parsed = text.value.parse();
        if parsed.is_err() {
            table.page().error(
                text.at,
                "listen must be an address with a port, for example \"127.0.0.1:8417\" or \"[::1]:8417\"",
            );
        }
        parsed.ok()
    });
    let address = table
        .text("address")
        .and_then(|text| checked_url(&table, "address", &text))
        .map(with_slash);
    table.finish();
    Some(Web {
        listen: listen.unwrap_or(USUAL),
        address,
    })
}

fn with_slash(mut url: reqwest::Url) -> reqwest::Url {
    if !url.path().ends_with('/') {
        let path = format!("{}/", url.path());
        url.set_path(&path);
    }
    url
}
