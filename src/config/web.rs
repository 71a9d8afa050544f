//! The table `[web]`: the page.

use super::fields::{Fields, Located};
use super::service::is_loopback;
use super::stations::checked_url;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// The page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Web {
    /// Where it listens, unless the service manager hands over a socket.
    pub listen: SocketAddr,
    /// How people reach it, for links in messages: a whole address that ends in `/`.
    pub address: Option<reqwest::Url>,
    /// Whether people sign in; else whoever reaches the page is the operator.
    pub sign_in: bool,
    /// Servers before it, whose word on whom they ask for is taken.
    pub proxies: Vec<IpAddr>,
    /// Hosts of push services in the own network, which browsers may name.
    pub own_push_services: Vec<String>,
}

impl Web {
    /// Whether browsers can be told to show notices: people sign in, and reach the page over TLS or on
    /// this machine.
    pub fn takes_browsers(&self) -> bool {
        let is_secure =
            |url: &reqwest::Url| url.scheme() == "https" || url.host_str().is_some_and(is_loopback);
        self.sign_in && self.address.as_ref().is_none_or(is_secure)
    }
}

impl Web {
    /// The path below which people reach the page, without the slash at its end; empty at the root.
    pub fn path(&self) -> &str {
        let path = self.address.as_ref().map_or("", |address| address.path());
        path.trim_end_matches('/')
    }
}

/// Where the page listens if nothing is said.
const USUAL: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 8417);

/// `[web]`, if it is there.
pub(super) fn web(top: &Fields<'_, '_>) -> Option<Web> {
    let table = top.table("web")?;
    let listen = table.text("listen").and_then(|text| {
        let parsed: Option<SocketAddr> = text.value.parse().ok();
        if parsed.is_none() {
            table.page().error(
                text.at.clone(),
                "listen must be an address with a port, for example \"127.0.0.1:8417\" or \"[::1]:8417\"",
            );
        }
        Some(Located { value: parsed?, at: text.at })
    });
    let address = table.text("address").and_then(|text| {
        let value = with_slash(checked_url(&table, "address", &text)?);
        if !value
            .path()
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || "/-_.~".contains(c))
        {
            table.page().error(
                text.at.clone(),
                "the path of the page's address holds letters, digits, - _ . ~ and / only",
            );
        }
        Some(Located { value, at: text.at })
    });
    let sign_in = table.flag("sign_in");
    let proxies = table.texts("proxies").unwrap_or_default();
    let proxies = proxies.into_iter().filter_map(|text| {
        let parsed = text.value.parse().ok();
        if parsed.is_none() {
            let wanted = "proxies are IP addresses without a port, for example [\"127.0.0.1\"]";
            table.page().error(text.at, wanted);
        }
        parsed
    });
    let proxies = proxies.collect();
    let own_push_services = table.texts("own_push_services").unwrap_or_default();
    let own_push_services = own_push_services.into_iter().map(|host| host.value);
    check_openness(&table, listen.as_ref(), address.as_ref(), sign_in);
    table.finish();
    Some(Web {
        listen: listen.map_or(USUAL, |listen| listen.value),
        address: address.map(|address| address.value),
        sign_in,
        proxies,
        own_push_services: own_push_services.collect(),
    })
}

/// Notes a page that is open to more people than is meant, or whose keys would go in clear.
fn check_openness(
    table: &Fields<'_, '_>,
    listen: Option<&Located<SocketAddr>>,
    address: Option<&Located<reqwest::Url>>,
    sign_in: bool,
) {
    let is_far = |url: &reqwest::Url| url.host_str().is_some_and(|host| !is_loopback(host));
    let far_listen = listen.filter(|listen| !listen.value.ip().is_loopback());
    let far_address = address.filter(|address| is_far(&address.value));
    if !sign_in {
        if let Some(listen) = far_listen {
            table.page().error(
                listen.at.clone(),
                "other machines reach the page there, and whoever reaches it may do everything: add sign_in = true, or listen on 127.0.0.1",
            );
        } else if let Some(address) = far_address {
            table.page().error(
                address.at.clone(),
                "others reach the page at this address, and whoever reaches it may do everything: add sign_in = true",
            );
        }
        return;
    }
    match (far_listen, address) {
        (Some(listen), None) => table.page().error(
            listen.at.clone(),
            "people sign in by a link to the page, and how they reach it is not known: add address = \"https://…/\"",
        ),
        (_, Some(address)) if far_address.is_some() && address.value.scheme() != "https" => {
            table.page().error(
                address.at.clone(),
                "keys would go over the network in clear: put a server for TLS before the page and write https://",
            );
        }
        _ => {}
    }
}

fn with_slash(mut url: reqwest::Url) -> reqwest::Url {
    if !url.path().ends_with('/') {
        let path = format!("{}/", url.path());
        url.set_path(&path);
    }
    url
}
