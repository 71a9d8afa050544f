//! Who is at the other end: the address that a connection comes from, or what a server before the page
//! says of it, and by which name the page was asked for.

use crate::config::Web;
use axum::http::{HeaderMap, header};
use std::net::{IpAddr, SocketAddr};

/// The address that a connection comes from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peer(pub IpAddr);

/// Who asks: the peer, or whom one of the configured proxies asks for. Of a list the last that is no
/// proxy counts: what stands before it anybody may have written.
pub(super) fn client(headers: &HeaderMap, peer: IpAddr, proxies: &[IpAddr]) -> IpAddr {
    let is_proxy = |address: &IpAddr| proxies.contains(&address.to_canonical());
    if !is_proxy(&peer) {
        return peer;
    }
    let lists = headers.get_all("x-forwarded-for").into_iter().rev();
    let named = lists.flat_map(|list| {
        let list = list.to_str().unwrap_or_default();
        list.rsplit(',')
            .map(|one| one.trim().parse::<IpAddr>().ok())
    });
    for one in named {
        match one {
            Some(address) if is_proxy(&address) => {}
            Some(address) => return address.to_canonical(),
            None => break,
        }
    }
    peer
}

/// The host name of a `Host` header, without port and brackets.
pub(super) fn host_name(authority: &str) -> &str {
    match authority.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => authority.split(':').next().unwrap_or_default(),
    }
}

/// Whether the page was asked for by a name it has. Another site's name that leads here by its own name
/// server would otherwise make a browser hand over what it sees.
pub(super) fn is_own_host(headers: &HeaderMap, web: &Web, listening: SocketAddr) -> bool {
    let mut hosts = headers.get_all(header::HOST).into_iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else {
        return false;
    };
    let Ok(host) = host.to_str() else {
        return false;
    };
    let name = host_name(host).to_ascii_lowercase();
    let configured = web.address.as_ref().and_then(|url| url.host_str());
    if configured.is_some_and(|own| host_name(own) == name) {
        return true;
    }
    let own = listening.ip().to_canonical();
    match name.parse::<IpAddr>() {
        // Behind a number there is no name server.
        Ok(address) => own.is_unspecified() || address.is_loopback() || address == own,
        Err(_) => name == "localhost" && (own.is_loopback() || own.is_unspecified()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(of: &[(&'static str, &str)]) -> HeaderMap {
        of.iter()
            .map(|(name, value)| (name.parse().unwrap(), value.parse().unwrap()))
            .fold(HeaderMap::new(), |mut map, (name, value)| {
                let name: header::HeaderName = name;
                map.append(name, value);
                map
            })
    }

    fn web(address: Option<&str>) -> Web {
        Web {
            listen: "127.0.0.1:8417".parse().unwrap(),
            address: address.map(|url| url.parse().unwrap()),
            sign_in: true,
            proxies: Vec::new(),
            own_push_services: Vec::new(),
        }
    }

    #[test]
    fn only_a_configured_proxy_is_believed_and_of_its_list_the_last_stranger_counts() {
        let proxy: IpAddr = "127.0.0.1".parse().unwrap();
        let far: IpAddr = "203.0.113.9".parse().unwrap();
        let of = |list: &str, peer, proxies: &[IpAddr]| {
            client(&headers(&[("x-forwarded-for", list)]), peer, proxies).to_string()
        };
        assert_eq!(of("198.51.100.7", far, &[proxy]), "203.0.113.9");
        assert_eq!(of("198.51.100.7", proxy, &[]), "127.0.0.1");
        assert_eq!(of("198.51.100.7", proxy, &[proxy]), "198.51.100.7");
        assert_eq!(of("1.2.3.4, 198.51.100.7", proxy, &[proxy]), "198.51.100.7");
        assert_eq!(
            of("198.51.100.7, 127.0.0.1", proxy, &[proxy]),
            "198.51.100.7"
        );
        assert_eq!(of("198.51.100.7, nonsense", proxy, &[proxy]), "127.0.0.1");
        let two = [
            ("x-forwarded-for", "1.2.3.4"),
            ("x-forwarded-for", "198.51.100.7"),
        ];
        assert_eq!(
            client(&headers(&two), proxy, &[proxy]).to_string(),
            "198.51.100.7"
        );
    }

    #[test]
    fn the_page_answers_to_its_own_names_only() {
        let is_own = |host: &str, address: Option<&str>, listening: &str| {
            let listening = listening.parse().unwrap();
            is_own_host(&headers(&[("host", host)]), &web(address), listening)
        };
        let here = "127.0.0.1:8417";
        let turf = Some("https://turf.three-brooks.example/");
        for host in [
            "127.0.0.1:8417",
            "localhost:8417",
            "LOCALHOST",
            "[::1]:8417",
        ] {
            assert!(is_own(host, None, here), "{host}");
        }
        for host in [
            "rebound.example",
            "rebound.example:8417",
            "192.0.2.1",
            "",
            "localhost.rebound.example",
        ] {
            assert!(!is_own(host, turf, here), "{host}");
        }
        assert!(is_own("turf.three-brooks.example", turf, here));
        assert!(!is_own("turf.three-brooks.example", None, here));
        assert!(is_own("192.0.2.1:8417", turf, "0.0.0.0:8417"));
        assert!(!is_own("localhost", turf, "192.0.2.1:8417"));
        let two = headers(&[("host", "localhost"), ("host", "rebound.example")]);
        assert!(!is_own_host(&two, &web(None), here.parse().unwrap()));
    }
}
