//! A request as it came, and a reply as it goes.

use serde::Serialize;

/// What a request wants to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// To see something.
    Get,
    /// To change or to ask something.
    Post,
    /// Anything else; nothing of it is answered.
    Other,
}

/// A request as it came.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What it wants to do.
    pub method: Method,
    /// Path and query, as they were sent.
    pub target: String,
    /// Every `Host` header.
    pub hosts: Vec<String>,
    /// Every `Origin` header.
    pub origins: Vec<String>,
    /// What was sent with it.
    pub body: Vec<u8>,
}

/// A reply to a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// The status of HTTP.
    pub status: u16,
    /// Its media type.
    pub kind: &'static str,
    /// What is sent.
    pub body: Vec<u8>,
}

/// Headers of every reply. The page loads from this server alone, runs no inline code and stands in no frame.
///
/// # Source
/// - `csp3`: directives of the policy
const HEADERS: [(&str, &str); 6] = [
    (
        "Content-Security-Policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cache-Control", "no-store"),
];

impl Reply {
    /// A reply of text.
    pub fn text(status: u16, kind: &'static str, text: &str) -> Reply {
        Reply { status, kind, body: text.as_bytes().to_vec() }
    }

    /// A reply of `value` as JSON.
    pub fn json(status: u16, value: &impl Serialize) -> Reply {
        match serde_json::to_vec(value) {
            Ok(body) => Reply { status, kind: "application/json", body },
            Err(_) => Reply::refused(500, "the answer cannot be written as JSON"),
        }
    }

    /// A refusal in a sentence.
    pub fn refused(status: u16, why: &str) -> Reply {
        Reply::text(status, "text/plain; charset=utf-8", why)
    }

    /// The headers, beside those that the connection needs.
    pub fn headers(&self) -> impl Iterator<Item = (&'static str, &'static str)> {
        HEADERS.into_iter().chain([("Content-Type", self.kind)])
    }
}
