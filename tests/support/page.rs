//! The page of the running program, and people and programs who ask it.

use super::command::Workshop;
use super::manager::{Daemon, Manager};
use reqwest::{Client, Method, RequestBuilder, Response};

/// The page of a service that runs.
pub struct RunningPage {
    pub workshop: Workshop,
    pub daemon: Daemon,
    /// Its address without a slash at the end.
    pub base: String,
    pub client: Client,
}

/// Options of commands for the configuration.
pub const CONFIG: [&str; 2] = ["--config", "hatchbell.toml"];

/// A co-op of three members. The desk runs it; the manager of b manages a as well.
pub fn co_op(web: &str) -> String {
    let member = |id: &str, recipients: &[&str]| {
        format!(
            "[[member]]\nid = \"{id}\"\nname = \"Club {id}\"\n\
             site = [{{ id = \"{id}-lawn\", name = \"Turf of {id}\" }}]\n\
             recipient = [{}]\n\n",
            recipients.join(", ")
        )
    };
    let recipient = |id: &str, more: &str| {
        format!(
            "{{ id = \"{id}\", name = \"the {id}\", email = \"{id}@three-brooks.example\"{more} }}"
        )
    };
    let a = member(
        "a",
        &[
            &recipient("a-owner", ", quiet = { from = \"00:00\", to = \"12:00\" }"),
            &recipient("a-reader", ", page = \"read\""),
            &recipient("a-mute", ", page = \"none\""),
        ],
    );
    let b = member(
        "b",
        &[
            &recipient("b-owner", ""),
            &recipient("b-manager", ", manages = [\"a\"]"),
        ],
    );
    let c = member("c", &[&recipient("desk", "")]);
    format!(
        r#"[service]
name = "A co-op"
contact = "mailto:desk@three-brooks.example"
schedule = "0 0 6 * * *"
database = "hatchbell.db"
operator = "desk"

[web]
listen = "127.0.0.1:0"
{web}

[demo]
starts = "2026-02-20T06:00:00Z"
seconds_per_day = 86400.0
published_lag_days = 0
deliver = "console"

[email]
host = "mail.three-brooks.example"
security = "tls"
from = "turf@three-brooks.example"

[site_defaults]
turf = "ryegrass"
latitude = 27.4
station = "only"
species = ["japanese-beetle"]

[[station]]
id = "only"
name = "The only station"
dialect = "ncei-export"
unit = "celsius"
file = "days.csv"

{a}{b}{c}"#
    )
}

impl RunningPage {
    /// Starts the service with a configuration.
    pub fn start(config: &str) -> Self {
        let workshop = Workshop::new();
        workshop.write("days.csv", "DATE,TMAX,TMIN\n2026-02-19,25.0,15.0\n");
        workshop.write("hatchbell.toml", config);
        let (mut manager, daemon) = Manager::start(&workshop, "hatchbell.toml");
        manager.hears("stations asked");
        let log = workshop.read("stderr");
        let after = log.split("the page is at ").nth(1).expect("it listens");
        let base = after.lines().next().unwrap().trim().trim_end_matches('/');
        Self {
            base: base.to_owned(),
            workshop,
            daemon,
            client: client(),
        }
    }

    /// A request as a browser makes it.
    pub fn browser(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.client.request(method, format!("{}{path}", self.base));
        request
            .header("Accept", "text/html")
            .header("Origin", &self.base)
            .header("Sec-Fetch-Site", "same-origin")
    }

    /// Asks for a link, and waits for the next one that the service prints.
    pub async fn link_for(&self, who: &str) -> String {
        let host = self.base.trim_start_matches("http://");
        self.link_for_origin(who, &self.base, host).await
    }

    /// The same by another name of the page.
    pub async fn link_for_origin(&self, who: &str, origin: &str, host: &str) -> String {
        let before = self.links().len();
        let asked = self.client.post(format!("{}/sign-in", self.base));
        let asked = asked.header("Origin", origin).header("Host", host);
        let asked = asked.header("Content-Type", "application/x-www-form-urlencoded");
        let answer = asked.body(format!("who={who}")).send().await.unwrap();
        assert_eq!(answer.status(), 303, "{}", answer.text().await.unwrap());
        for _ in 0..20_000 {
            if let Some(link) = self.links().into_iter().nth(before) {
                return link;
            }
            // The service and the page have work to do meanwhile.
            get(self.browser(Method::GET, "/sign-in/sent")).await;
        }
        panic!("no link came: {}", self.workshop.read("stderr"));
    }

    /// The paths of all links that were printed.
    pub fn links(&self) -> Vec<String> {
        let printed = self.workshop.read("stdout");
        let starts = printed.match_indices("/sign-in/");
        // Whole ones only: the line may not be written to its end yet.
        let links = starts.filter_map(|(at, _)| printed.get(at..at + "/sign-in/".len() + 65));
        links.map(|link| link.trim_end().to_owned()).collect()
    }

    /// The cookie of somebody who signs in.
    pub async fn sign_in(&self, who: &str) -> String {
        let link = self.link_for(who).await;
        let answer = self.browser(Method::POST, &link).send().await.unwrap();
        assert_eq!(answer.headers()["location"], "/");
        cookie_of(&answer)
    }

    /// What a page's forms bring along.
    pub async fn form_key(&self, cookie: &str) -> String {
        let (_, page) = get(self.browser(Method::GET, "/").header("Cookie", cookie)).await;
        let after = page.split("name=\"form_key\" value=\"").nth(1);
        after.expect("a form").split('"').next().unwrap().to_owned()
    }

    /// A token of a recipient.
    pub fn token(&self, arguments: &[&str]) -> String {
        let command = [&["member", "token"], arguments, &CONFIG[..]].concat();
        self.workshop.succeeds(&command).trim().to_owned()
    }

    pub fn database(&self) -> rusqlite::Connection {
        rusqlite::Connection::open(self.workshop.path("hatchbell.db")).unwrap()
    }

    /// The actions of the audit.
    pub fn audit(&self) -> String {
        let command = [&["member", "audit"], &CONFIG[..]].concat();
        self.workshop.succeeds(&command)
    }
}

fn client() -> Client {
    hatchbell::tls::install_tls_provider();
    let builder = Client::builder().redirect(reqwest::redirect::Policy::none());
    builder.build().unwrap()
}

/// The cookie that an answer sets, as it is sent back.
pub fn cookie_of(answer: &Response) -> String {
    let cookie = answer.headers()["set-cookie"].to_str().unwrap();
    cookie.split(';').next().unwrap().to_owned()
}

/// What is answered.
pub async fn get(request: RequestBuilder) -> (u16, String) {
    let answer = request.send().await.expect("an answer");
    (answer.status().as_u16(), answer.text().await.expect("text"))
}
