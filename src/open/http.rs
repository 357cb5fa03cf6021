//! A request read from a connection, and a reply written to it; one of each, then the connection ends.
//!
//! What a browser sends to one machine's own server is all that is read: a head of limited length, and a body of the
//! length that it states. Connections that stay open would each hold a thread while nothing is asked.
//!
//! # Source
//! - `rfc9110`: methods, fields and status

use crate::guard::Guard;
use crate::request::{Method, Reply, Request};
use std::io::{self, Read, Write};

/// Longest head of a request, bytes.
const LONGEST_HEAD: usize = 16 << 10;

/// Most fields of a head.
const MOST_FIELDS: usize = 64;

/// Reads a request from `connection`. Its body, of at most `most` bytes, is read only where `guard` allows the request.
///
/// # Errors
/// The refusal of what is no request, is too long, or is not allowed.
pub fn read_request(connection: &mut impl Read, guard: &Guard, most: usize) -> Result<Request, Reply> {
    let cut_short = || Reply::refused(400, "the request was cut short");
    let mut bytes = Vec::new();
    let mut piece = [0; 4096];
    let (mut request, length, head) = loop {
        let read = connection.read(&mut piece).map_err(|_| cut_short())?;
        bytes.extend_from_slice(&piece[..read]);
        if let Some(found) = head_of(&bytes)? {
            break found;
        }
        if read == 0 {
            return Err(cut_short());
        }
        if bytes.len() > LONGEST_HEAD {
            return Err(Reply::refused(431, "the head of the request is too long"));
        }
    };
    guard.allow(&request)?;
    if length > most {
        return Err(Reply::refused(413, "that is more than a record may have"));
    }
    request.body = bytes.split_off(head.min(bytes.len()));
    request.body.truncate(length);
    let missing = length - request.body.len();
    let more = connection.take(missing as u64).read_to_end(&mut request.body);
    match more {
        Ok(read) if read == missing => Ok(request),
        _ => Err(cut_short()),
    }
}

/// The request of a head without its body, the length of the body, and that of the head; `None` where the head has no
/// end yet.
fn head_of(bytes: &[u8]) -> Result<Option<(Request, usize, usize)>, Reply> {
    let mut fields = [httparse::EMPTY_HEADER; MOST_FIELDS];
    let mut head = httparse::Request::new(&mut fields);
    let no_request = || Reply::refused(400, "that is no request");
    let end = match head.parse(bytes) {
        Ok(httparse::Status::Complete(end)) => end,
        Ok(httparse::Status::Partial) => return Ok(None),
        Err(_) => return Err(no_request()),
    };
    let all = |name: &str| -> Vec<String> {
        let own = head.headers.iter().filter(|field| field.name.eq_ignore_ascii_case(name));
        own.map(|field| String::from_utf8_lossy(field.value).into_owned()).collect()
    };
    if !all("Transfer-Encoding").is_empty() {
        return Err(Reply::refused(411, "state the length of what is sent"));
    }
    let length = match &all("Content-Length")[..] {
        [] => 0,
        [length] => length.parse().map_err(|_| no_request())?,
        _ => return Err(no_request()),
    };
    let method = match head.method {
        Some("GET") => Method::Get,
        Some("POST") => Method::Post,
        _ => Method::Other,
    };
    let target = head.path.unwrap_or_default().to_string();
    let request = Request { method, target, hosts: all("Host"), origins: all("Origin"), body: Vec::new() };
    Ok(Some((request, length, end)))
}

/// Writes `reply` to `connection`, which ends with it.
///
/// # Errors
/// Those of the connection.
pub fn write_reply(connection: &mut impl Write, reply: &Reply) -> io::Result<()> {
    // The words beside the status are for people; the number says it all.
    let mut head = format!(
        "HTTP/1.1 {} -\r\nConnection: close\r\nContent-Length: {}\r\n",
        reply.status,
        reply.body.len()
    );
    for (name, value) in reply.headers() {
        head += &format!("{name}: {value}\r\n");
    }
    head += "\r\n";
    connection.write_all(head.as_bytes())?;
    connection.write_all(&reply.body)?;
    connection.flush()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives its text in pieces of a few bytes, as a connection may.
    struct Dripping<'t>(&'t [u8]);

    impl Read for Dripping<'_> {
        fn read(&mut self, piece: &mut [u8]) -> io::Result<usize> {
            let count = self.0.len().min(piece.len()).min(7);
            piece[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }

    const MOST: usize = 10;

    fn read(text: &str) -> Result<Request, u16> {
        let guard = Guard::new(4000, &[7; 16]);
        let text = text
            .replace("TOKEN", &"07".repeat(16))
            .replace("FROM", "Host: 127.0.0.1:4000\r\nOrigin: http://127.0.0.1:4000");
        read_request(&mut Dripping(text.as_bytes()), &guard, MOST).map_err(|reply| reply.status)
    }

    #[test]
    fn a_request_is_read_with_its_body() {
        let request =
            read("POST /TOKEN/text?a=1 HTTP/1.1\r\nFROM\r\nContent-Length: 5\r\n\r\nhello and more").unwrap();
        assert_eq!((request.method, request.body.as_slice()), (Method::Post, &b"hello"[..]));
        assert!(request.target.ends_with("/text?a=1"));
        let request = read("GET /TOKEN/ HTTP/1.1\r\nFROM\r\n\r\n").unwrap();
        assert_eq!((request.method, request.body.len()), (Method::Get, 0));
        assert_eq!(read("DELETE /TOKEN/ HTTP/1.1\r\nFROM\r\n\r\n").unwrap().method, Method::Other);
    }

    #[test]
    fn what_is_too_long_cut_short_or_no_request_is_refused() {
        assert_eq!(read("POST /TOKEN/text HTTP/1.1\r\nFROM\r\nContent-Length: 11\r\n\r\n"), Err(413));
        assert_eq!(read("POST /TOKEN/text HTTP/1.1\r\nFROM\r\nContent-Length: 9\r\n\r\nhel"), Err(400));
        assert_eq!(read("POST /TOKEN/text HTTP/1.1\r\nFROM\r\nTransfer-Encoding: chunked\r\n\r\n"), Err(411));
        let twice = "POST /TOKEN/text HTTP/1.1\r\nFROM\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab";
        assert_eq!(read(twice), Err(400));
        assert_eq!(read("POST /TOKEN/text HTTP/1.1\r\nFROM\r\nContent-Length: -1\r\n\r\n"), Err(400));
        assert_eq!(read("GET /TOKEN/ HTTP/1.1\r\nHost"), Err(400));
        assert_eq!(read("\u{0}\u{1}"), Err(400));
        assert_eq!(read(&format!("GET /TOKEN/{} HTTP/1.1\r\n", "x".repeat(2 * LONGEST_HEAD))), Err(431));
        // Nothing of the body is asked for before the request is allowed.
        assert_eq!(read("POST /text HTTP/1.1\r\nFROM\r\nContent-Length: 99\r\n\r\n"), Err(403));
    }

    #[test]
    fn a_reply_carries_its_policy_and_its_length() {
        let mut written = Vec::new();
        write_reply(&mut written, &Reply::text(200, "text/plain", "two\nlines")).unwrap();
        let text = String::from_utf8(written).unwrap();
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        assert_eq!(body, "two\nlines");
        for line in ["HTTP/1.1 200 -", "Content-Length: 9", "Connection: close", "Content-Type: text/plain"] {
            assert!(head.lines().any(|own| own == line), "{head}");
        }
        assert!(head.contains("Content-Security-Policy: default-src 'none'; script-src 'self'"));
    }
}
