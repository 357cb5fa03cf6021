//! Which requests are answered: those to the address of this server, from its own page, with the token that the
//! address holds.
//!
//! A page of another server may send requests to this one: its name in `Host` shows who was asked for when a name
//! was made to lead here, its `Origin` who asks; neither knows the token. The token is the first part of the path,
//! so that everything the page loads carries it, and no other server on this machine is sent it, as a cookie would be.
//!
//! # Source
//! - `rfc9110`: `Host`
//! - `rfc6454`: `Origin`

use crate::request::{Method, Reply, Request};

/// The address that a request must be meant for, and the token that it must hold.
#[derive(Debug, Clone)]
pub struct Guard {
    port: u16,
    token: String,
}

impl Guard {
    /// The guard of the server at `port` of this machine; the token is `secret` in hexadecimal.
    pub fn new(port: u16, secret: &[u8; 16]) -> Guard {
        Guard { port, token: secret.iter().map(|byte| format!("{byte:02x}")).collect() }
    }

    /// The address of the page.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.token)
    }

    /// The path of an allowed request behind the token, without a slash in front.
    ///
    /// # Errors
    /// The refusal of any other request.
    pub fn allow<'r>(&self, request: &'r Request) -> Result<&'r str, Reply> {
        let refused = |why: &str| Err(Reply::refused(403, why));
        let hosts = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port));
        let [host] = &request.hosts[..] else { return refused("a request names one host") };
        if !hosts.contains(host) {
            return refused("this server answers for this machine alone");
        }
        let own = |origin: &String| origin.strip_prefix("http://") == Some(host);
        let is_own = match (&request.origins[..], request.method) {
            ([], method) => method == Method::Get,
            ([origin], _) => own(origin),
            _ => false,
        };
        if !is_own {
            return refused("another page asks; this server answers its own");
        }
        let path = request.target.strip_prefix('/').unwrap_or_default();
        match path.split_once('/') {
            Some((token, rest)) if self.is_token(token) => Ok(rest),
            _ => refused("the address lacks its token; open the one that stillbed printed"),
        }
    }

    /// Compares every character, so that the time taken tells nothing of how many are right.
    fn is_token(&self, token: &str) -> bool {
        let differ = self.token.bytes().zip(token.bytes()).fold(0, |all, (a, b)| all | (a ^ b));
        token.len() == self.token.len() && differ == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(method: Method, target: &str, host: &str, origin: Option<&str>) -> Request {
        let origins = origin.map(str::to_string).into_iter().collect();
        Request { method, target: target.to_string(), hosts: vec![host.to_string()], origins, body: vec![] }
    }

    #[test]
    fn only_its_own_page_with_the_token_is_answered() {
        let guard = Guard::new(4000, &[0xab; 16]);
        let token = "ab".repeat(16);
        assert_eq!(guard.address(), format!("http://127.0.0.1:4000/{token}/"));
        let (path, host) = (format!("/{token}/state?after=0"), "127.0.0.1:4000");
        let own = Some("http://127.0.0.1:4000");
        let allowed = |request: &Request| guard.allow(request).is_ok();
        assert_eq!(guard.allow(&asked(Method::Get, &path, host, None)), Ok("state?after=0"));
        assert!(allowed(&asked(Method::Post, &path, host, own)));
        assert!(allowed(&asked(Method::Post, &path, "localhost:4000", Some("http://localhost:4000"))));
        for host in ["127.0.0.1:4001", "127.0.0.1", "evil.example:4000", "127.0.0.1:4000.evil.example", ""] {
            assert!(!allowed(&asked(Method::Get, &path, host, None)), "{host}");
        }
        let foreign = ["http://evil.example", "null", "https://127.0.0.1:4000", "http://localhost:4000", ""];
        for origin in foreign {
            for method in [Method::Get, Method::Post] {
                assert!(!allowed(&asked(method, &path, host, Some(origin))), "{origin}");
            }
        }
        assert!(!allowed(&asked(Method::Post, &path, host, None)), "who posts says from where");
        let mut twice = asked(Method::Get, &path, host, None);
        twice.hosts.push(host.to_string());
        assert!(!allowed(&twice));
        let almost = format!("/{}ac/", "ab".repeat(15));
        for path in ["/", "", "/state", "/ab/state", &almost, &format!("/{token}"), &format!("//{token}/")] {
            assert!(!allowed(&asked(Method::Get, path, host, None)), "{path}");
        }
    }
}
