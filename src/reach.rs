//! Which addresses lead into the own machine or network. A redirect from elsewhere never does, and
//! a token in the clear goes nowhere else.

use reqwest::Url;
use reqwest::dns::{Addrs, Name, Resolve, Resolving};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// Tells addresses of the public internet from those of a machine or network of one's own.
pub type IsPublic = fn(IpAddr) -> bool;

/// Whether an address belongs to the public internet. An IPv4 address within an IPv6 one counts as
/// itself.
///
/// References: RFC 6890 and the special-purpose address registries it founds; RFC 4291 2.5.5
/// (mapped and compatible), RFC 6052 (64:ff9b::/96), RFC 3056 (2002::/16), RFC 6598 (100.64/10).
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_public_v4(address),
        IpAddr::V6(address) => match within(address) {
            Some(inner) => is_public_v4(inner),
            // 2000::/3 is all that is given out; Teredo, 2001::/32, hides an address in it.
            None => {
                address.segments()[0] & 0xe000 == 0x2000 && address.segments()[..2] != [0x2001, 0]
            }
        },
    }
}

fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    !(address.is_private()
        || address.is_loopback()
        || address.is_link_local()
        || a == 0
        || a >= 224
        || (a == 100 && b & 0xc0 == 64)
        || (a == 198 && b & 0xfe == 18)
        || (a, b, c) == (192, 0, 0))
}

/// The IPv4 address that an IPv6 one stands for.
fn within(address: Ipv6Addr) -> Option<Ipv4Addr> {
    let [a, b, c, d, e, f, high, low] = address.segments();
    let of = |high: u16, low: u16| Some(Ipv4Addr::from(u32::from(high) << 16 | u32::from(low)));
    match [a, b, c, d, e, f] {
        [0, 0, 0, 0, 0, 0 | 0xffff] | [0x64, 0xff9b, 0, 0, 0, 0] => of(high, low),
        [0x2002, high, low, ..] => of(high, low),
        _ => None,
    }
}

/// A name that leads into the own machine or network, or an address of it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "it leads to {host}{}, an address of this machine or its own network", 
    address.map_or(String::new(), |address| format!(" ({address})"))
)]
pub(crate) struct NotPublic {
    host: String,
    address: Option<IpAddr>,
}

/// # Errors
/// [`NotPublic`] if the host is written as an address that is not public. Names are looked at when
/// they are resolved.
pub(crate) fn check_host(url: &Url, is_public: IsPublic) -> Result<(), NotPublic> {
    let host = url.host_str().unwrap_or_default();
    match host.trim_matches(['[', ']']).parse() {
        Ok(address) if !is_public(address) => Err(NotPublic {
            host: host.to_owned(),
            address: None,
        }),
        _ => Ok(()),
    }
}

/// Resolves names to public addresses only, so that what is connected to is what was looked at.
pub(crate) struct PublicResolver(pub(crate) IsPublic);

impl Resolve for PublicResolver {
    fn resolve(&self, name: Name) -> Resolving {
        let is_public = self.0;
        Box::pin(async move {
            let found = tokio::net::lookup_host((name.as_str(), 0)).await?;
            let (public, other): (Vec<SocketAddr>, Vec<SocketAddr>) =
                found.partition(|address| is_public(address.ip()));
            if let ([], [first, ..]) = (public.as_slice(), other.as_slice()) {
                return Err(NotPublic {
                    host: name.as_str().to_owned(),
                    address: Some(first.ip()),
                }
                .into());
            }
            Ok(Box::new(public.into_iter()) as Addrs)
        })
    }
}

/// Resolves names to addresses of the own machine or network only.
pub(crate) struct OwnResolver;

impl Resolve for OwnResolver {
    fn resolve(&self, name: Name) -> Resolving {
        Box::pin(async move {
            let found = tokio::net::lookup_host((name.as_str(), 0)).await?;
            let own: Vec<SocketAddr> = found.filter(|one| !is_public(one.ip())).collect();
            match own.is_empty() {
                true => Err(Public.into()),
                false => Ok(Box::new(own.into_iter()) as Addrs),
            }
        })
    }
}

/// An address of the public internet where one of the own network is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("it is an address of the public internet")]
pub(crate) struct Public;

/// # Errors
/// [`Public`] if the host is written as a public address. Names are looked at when they are resolved.
pub(crate) fn check_own(url: &Url) -> Result<(), Public> {
    let host = url.host_str().unwrap_or_default();
    match host.trim_matches(['[', ']']).parse() {
        Ok(address) if is_public(address) => Err(Public),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_ones_own_are_told_however_they_are_written() {
        for own in [
            "127.0.0.1",
            "127.9.9.9",
            "0.0.0.0",
            "10.1.2.3",
            "172.16.0.1",
            "172.31.255.255",
            "192.168.1.1",
            "169.254.169.254",
            "100.64.0.1",
            "192.0.0.8",
            "198.19.0.1",
            "224.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "::7f00:1",
            "fe80::1",
            "fec0::1",
            "fc00::1",
            "fd12::1",
            "ff02::1",
            "::ffff:127.0.0.1",
            "::ffff:10.0.0.1",
            "64:ff9b::c0a8:101",
            "2002:7f00:1::",
            "2002:a00:1::1",
            "2001::1",
        ] {
            assert!(!is_public(own.parse().unwrap()), "{own}");
        }
        for public in [
            "1.1.1.1",
            "172.15.0.1",
            "172.32.0.1",
            "100.63.0.1",
            "100.128.0.1",
            "198.17.0.1",
            "192.0.1.1",
            "223.255.255.255",
            "2606:4700::1111",
            "2a00::1",
            "::ffff:1.1.1.1",
            "64:ff9b::101:101",
            "2002:101:101::1",
        ] {
            assert!(is_public(public.parse().unwrap()), "{public}");
        }
    }

    #[test]
    fn a_public_address_is_not_of_the_own_network_and_a_name_is_looked_at_later() {
        let checked = |url: &str| check_own(&Url::parse(url).unwrap());
        assert_eq!(checked("http://1.1.1.1/turf"), Err(Public));
        assert_eq!(checked("http://[2606:4700::1111]/turf"), Err(Public));
        for own in [
            "http://192.168.1.20/",
            "http://[fd12::1]/",
            "http://push.home.example/",
        ] {
            assert_eq!(checked(own), Ok(()), "{own}");
        }
    }

    #[test]
    fn a_host_is_looked_at_as_the_client_would_read_it() {
        for url in [
            "http://127.1/",
            "http://0x7f000001/",
            "http://2130706433/",
            "http://[::1]/",
            "http://[::ffff:7f00:1]/",
            "http://017700000001/",
        ] {
            assert!(
                check_host(&Url::parse(url).unwrap(), is_public).is_err(),
                "{url}"
            );
        }
        let name = Url::parse("http://feeds.example.org/").unwrap();
        assert_eq!(check_host(&name, is_public), Ok(()));
    }
}
