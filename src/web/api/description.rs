//! What all addresses for programs have in common, for their description.

use super::problem::ProblemDetails;
use utoipa::{IntoParams, OpenApi, ToResponse};

/// The description, without its addresses.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "hatchbell",
        description = "When white grubs fly, lay eggs and hatch at each site, what to do there and by when. \
                       The same values as on the pages; units are metric, days are ISO 8601. Estimates are \
                       marked. It is a planning aid: the label is the law, local rules and a licensed \
                       applicator decide.",
    ),
    servers((url = "/api/v1")),
    components(schemas(ProblemDetails), responses(BadQuestion, NotFound, Forbidden)),
)]
pub(super) struct Description;

/// The question has a mistake.
#[derive(ToResponse)]
#[response(content_type = "application/problem+json")]
#[expect(dead_code, reason = "it describes what is written, and is never made")]
pub(super) struct BadQuestion(ProblemDetails);

/// There is no such thing, or not for whoever asks.
#[derive(ToResponse)]
#[response(content_type = "application/problem+json")]
#[expect(dead_code, reason = "it describes what is written, and is never made")]
pub(super) struct NotFound(ProblemDetails);

/// It is not for whoever asks.
#[derive(ToResponse)]
#[response(content_type = "application/problem+json")]
#[expect(dead_code, reason = "it describes what is written, and is never made")]
pub(super) struct Forbidden(ProblemDetails);

/// The site that an address is about.
#[derive(IntoParams)]
#[into_params(parameter_in = Path)]
#[expect(dead_code, reason = "it describes what is asked, and is never made")]
pub(super) struct SiteParameter {
    /// The site's id.
    site: String,
}
