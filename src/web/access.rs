//! What whoever asks may see: the one place that the answers for programs, and what watches the
//! service, ask.

use super::answers::NoPage;
use super::viewer::Viewer;
use crate::domain::place::site::Member;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;

/// What whoever asks may see.
#[derive(Debug, Clone)]
pub(super) struct Access(Viewer);

impl Access {
    /// Whether the sites of a member are theirs to see.
    pub fn may_see(&self, member: &Member) -> bool {
        self.0.sees(member)
    }

    /// Whether what concerns the service as a whole is theirs to see.
    pub fn is_operator(&self) -> bool {
        self.0.is_operator
    }

    /// Whoever asks.
    pub fn viewer(&self) -> &Viewer {
        &self.0
    }
}

impl<S: Sync> FromRequestParts<S> for Access {
    type Rejection = NoPage;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, NoPage> {
        Viewer::from_request_parts(parts, state).await.map(Self)
    }
}
