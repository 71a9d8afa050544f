//! Fetching ahead: many hosts at once, the files of one host one after the other. What arrives is
//! given out in the order in which it was asked for, so nothing depends on who answers first.

use super::fetch::{FetchError, Fetched, Fetcher};
use crate::station_feed::origin::Origin;
use crate::station_feed::version::Validators;
use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;
use tokio::task::JoinSet;

/// Hosts that are asked at once.
const SIDE_BY_SIDE: usize = 8;

/// Most bytes of a file that waits for its turn. A larger one is fetched when its turn comes.
const MOST_AHEAD: u64 = 8 << 20;

/// Most bytes of all files that wait or are under way: a few large ones stop nobody.
const ROOM: u64 = 12 * MOST_AHEAD;

/// A file to fetch.
#[derive(Debug, Clone)]
pub struct Request {
    /// Where it is.
    pub origin: Origin,
    /// What is known of the version that is stored.
    pub known: Validators,
}

impl Request {
    /// The host that is asked; none for a file of this machine.
    fn host(&self) -> Option<String> {
        match &self.origin {
            Origin::Url(url) => url.host_str().map(str::to_owned),
            Origin::File(_) | Origin::ByHand => None,
        }
    }
}

/// What became of a request.
type Answer = Result<Fetched, FetchError>;

/// Fetches that are under way, or done and waiting for their turn. Dropped, it breaks them off.
pub struct Ahead {
    fetcher: Arc<Fetcher>,
    /// Requests that were not begun, by place.
    waiting: BTreeMap<usize, Request>,
    /// Places of those that are too large to be fetched before their turn.
    large: HashSet<usize>,
    busy: HashSet<String>,
    under_way: JoinSet<(usize, Request, Answer)>,
    done: BTreeMap<usize, Answer>,
}

impl Ahead {
    /// Nothing is fetched until an answer is asked for. Each request has a place in the order.
    pub fn new(
        fetcher: Arc<Fetcher>,
        requests: impl IntoIterator<Item = (usize, Request)>,
    ) -> Self {
        Self {
            fetcher,
            waiting: requests.into_iter().collect(),
            large: HashSet::new(),
            busy: HashSet::new(),
            under_way: JoinSet::new(),
            done: BTreeMap::new(),
        }
    }

    /// What became of the request at a place; none if there is none. Places are asked for in
    /// ascending order. May be broken off and asked again.
    pub async fn answer(&mut self, place: usize) -> Option<Answer> {
        // A file of this machine is there at once, and waits for nothing.
        if self
            .waiting
            .get(&place)
            .is_some_and(|one| one.host().is_none())
        {
            let request = self.waiting.remove(&place)?;
            return Some(self.fetcher.fetch(&request.origin, &request.known).await);
        }
        // Those under way get on while what has arrived is taken in.
        tokio::task::yield_now().await;
        loop {
            while let Some(Ok(over)) = self.under_way.try_join_next() {
                self.note(over, place);
            }
            self.begin(place);
            if let Some(answer) = self.done.remove(&place) {
                return Some(answer);
            }
            let Ok(over) = self.under_way.join_next().await? else {
                continue;
            };
            self.note(over, place);
        }
    }

    /// Begins what may be begun, the request whose turn it is first.
    fn begin(&mut self, turn: usize) {
        let kept: u64 = self.done.values().map(bytes).sum();
        let places: Vec<usize> = self.waiting.keys().copied().collect();
        for place in places {
            if self.under_way.len() >= SIDE_BY_SIDE {
                return;
            }
            let is_its_turn = place == turn;
            let taken = kept + self.under_way.len() as u64 * MOST_AHEAD;
            if !is_its_turn && (self.large.contains(&place) || taken + MOST_AHEAD > ROOM) {
                continue;
            }
            let Some(host) = self.waiting.get(&place).and_then(Request::host) else {
                continue;
            };
            if !self.busy.insert(host) {
                continue;
            }
            if let Some(request) = self.waiting.remove(&place) {
                let fetcher = Arc::clone(&self.fetcher);
                let most = if is_its_turn { u64::MAX } else { MOST_AHEAD };
                self.under_way.spawn(async move {
                    let answer = fetcher
                        .fetch_at_most(&request.origin, &request.known, most)
                        .await;
                    (place, request, answer)
                });
            }
        }
    }

    fn note(&mut self, (place, request, answer): (usize, Request, Answer), turn: usize) {
        if let Some(host) = request.host() {
            self.busy.remove(&host);
        }
        // One that was begun in its turn had all the room there is.
        let is_large = matches!(&answer, Err(FetchError::TooLarge { max_bytes, .. }) if *max_bytes == MOST_AHEAD);
        if is_large && place >= turn && self.large.insert(place) {
            self.waiting.insert(place, request);
        } else {
            self.done.insert(place, answer);
        }
    }
}

/// Bytes that an answer holds.
fn bytes(answer: &Answer) -> u64 {
    match answer {
        Ok(Fetched::Body { bytes, .. }) => bytes.len() as u64,
        _ => 0,
    }
}
