//! Where a feed's file is.

use reqwest::Url;
use std::fmt;
use std::path::PathBuf;

/// Where a feed's bytes are.
#[derive(Clone, PartialEq, Eq)]
pub enum Origin {
    /// On a web server, by http or https.
    Url(Url),
    /// On this machine.
    File(PathBuf),
    /// Nowhere: files are brought by hand, with `hatchbell import`.
    ByHand,
}

/// What stands in an address for the year, in its two spellings.
const YEAR: [&str; 2] = ["{year}", "%7Byear%7D"];

impl Origin {
    /// Whether the address follows the calendar.
    pub fn is_yearly(&self) -> bool {
        matches!(self, Self::Url(url) if YEAR.iter().any(|year| url.as_str().contains(year)))
    }

    /// The place of a year's file: `{year}` in the address becomes the year.
    pub fn in_year(&self, year: i32) -> Self {
        let Self::Url(url) = self else {
            return self.clone();
        };
        let text = YEAR.iter().fold(url.as_str().to_owned(), |text, word| {
            text.replace(word, &year.to_string())
        });
        Self::Url(Url::parse(&text).unwrap_or_else(|_| url.clone()))
    }
}

/// What a log may show: host and path without query, user name and password, or the file's path.
impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Url(url) => f.write_str(&shown(url)),
            Self::File(path) => write!(f, "{}", path.display()),
            Self::ByHand => f.write_str("by hand"),
        }
    }
}

/// As `Display`, so that no query slips into a log this way.
impl fmt::Debug for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = match self {
            Self::Url(_) => "Url",
            Self::File(_) => "File",
            Self::ByHand => return f.write_str("ByHand"),
        };
        write!(f, "{kind}({self})")
    }
}

/// Host and path of an address.
pub fn shown(url: &Url) -> String {
    let host = url.host_str().unwrap_or("");
    let port = url.port().map_or(String::new(), |port| format!(":{port}"));
    format!("{host}{port}{}", url.path())
}
