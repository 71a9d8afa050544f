//! What whoever asks may see: the one place that the answers for programs, and what watches the
//! service, ask.

use crate::domain::place::site::Member;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use std::convert::Infallible;

/// What whoever asks may see.
#[derive(Debug, Clone)]
pub(super) enum Access {
    /// Everything: whoever runs the service.
    Operator,
}

impl Access {
    /// Whether the sites of a member are theirs to see.
    pub fn may_see(&self, _: &Member) -> bool {
        match self {
            Self::Operator => true,
        }
    }

    /// Whether what concerns the service as a whole is theirs to see.
    pub fn is_operator(&self) -> bool {
        matches!(self, Self::Operator)
    }
}

impl<S: Sync> FromRequestParts<S> for Access {
    type Rejection = Infallible;

    /// Without sign-in everybody who reaches the page is whoever runs the service.
    async fn from_request_parts(_: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self::Operator)
    }
}
