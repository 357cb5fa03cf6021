//! Which request does what.
//!
//! | request | what it does |
//! |---|---|
//! | `GET` of nothing, `NAME.css`, `script/NAME.js` | the page, its styles, its script |
//! | `GET sketches`, `materials` | what a design may begin with and be made of |
//! | `GET state?after=N` | what changed after the change number N; waits for it |
//! | `POST text`, `change`, `step`, `mend`, `adopt` | a change of the text, which is in the file when it is answered |
//! | `POST passing` | what a gesture would do; nothing is written |
//! | `POST build`, `ask`, `effects` | what is drawn, and what is to be computed |
//! | `POST tap?build=B&name=N` | a record, set against the model |
//! | `POST begin` | a new design from a sketch |

use crate::change::Change;
use crate::desk::{Desk, Refused};
use crate::effects::Wanted;
use crate::guard::Guard;
use crate::questions::{Asked, Subject};
use crate::request::{Method, Reply, Request};
use crate::sketches::{SKETCHES, Start};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::json;
use std::time::Duration;
use stillbed_report::page::{MODULES, STYLE};

const PAGE: &str = include_str!("page.html");
const OWN_STYLE: &str = include_str!("page.css");

/// Modules of the script beside those of a report.
const OWN_MODULES: [(&str, &str); 10] = [
    ("server.js", include_str!("script/server.js")),
    ("text.js", include_str!("script/text.js")),
    ("problems.js", include_str!("script/problems.js")),
    ("machine.js", include_str!("script/machine.js")),
    ("drag.js", include_str!("script/drag.js")),
    ("chosen.js", include_str!("script/chosen.js")),
    ("recorder.js", include_str!("script/recorder.js")),
    ("questions.js", include_str!("script/questions.js")),
    ("sketches.js", include_str!("script/sketches.js")),
    ("open.js", include_str!("script/open.js")),
];

/// How long a page waits for a change before it asks again.
const PATIENCE: Duration = Duration::from_secs(20);

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    from: u64,
    text: String,
    typing: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Changed {
    from: u64,
    change: Change,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Step {
    from: u64,
    back: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Mend {
    from: u64,
    number: usize,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Adopt {
    from: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Ask {
    what: Subject,
    build: String,
}

/// The reply to `request`.
pub fn reply(desk: &Desk, guard: &Guard, request: &Request) -> Reply {
    let path = match guard.allow(request) {
        Ok(path) => path,
        Err(refusal) => return refusal,
    };
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    match request.method {
        Method::Get => shown(desk, path, query),
        Method::Post => done(desk, path, query, &request.body),
        Method::Other => Reply::refused(405, "only GET and POST are answered"),
    }
}

fn shown(desk: &Desk, path: &str, query: &str) -> Reply {
    let script = |name: &str| MODULES.iter().chain(&OWN_MODULES).find(|(own, _)| *own == name);
    match path {
        "" => Reply::text(200, "text/html; charset=utf-8", PAGE),
        "report.css" => Reply::text(200, "text/css; charset=utf-8", STYLE),
        "page.css" => Reply::text(200, "text/css; charset=utf-8", OWN_STYLE),
        "sketches" => Reply::json(200, &SKETCHES),
        "materials" => Reply::json(200, &desk.materials()),
        "state" => {
            let after = parameter(query, "after").and_then(|number| number.parse().ok()).unwrap_or(0);
            Reply::json(200, &desk.board.after(after, PATIENCE))
        }
        _ => match path.strip_prefix("script/").and_then(script) {
            Some((_, text)) => Reply::text(200, "text/javascript; charset=utf-8", text),
            None => Reply::refused(404, "there is nothing of that name"),
        },
    }
}

fn done(desk: &Desk, path: &str, query: &str, body: &[u8]) -> Reply {
    let found = match path {
        "text" => read(body).map(|asked: Text| written(desk.write(asked.from, &asked.text, asked.typing))),
        "change" => read(body).map(|asked: Changed| written(desk.change(asked.from, &asked.change))),
        "step" => read(body).map(|asked: Step| written(desk.step(asked.from, asked.back))),
        "mend" => read(body).map(|asked: Mend| written(desk.mend(asked.from, asked.number))),
        "adopt" => read(body).map(|asked: Adopt| written(desk.adopt(asked.from))),
        "passing" => read(body).map(|change: Change| written(desk.pass(&change).map(|()| 0))),
        "build" => read(body).map(|name: String| {
            desk.draw(&name);
            Reply::json(200, &json!({}))
        }),
        "ask" => read(body).map(|Ask { what, build }| {
            desk.question(Asked { what, build, record: None });
            Reply::json(200, &json!({}))
        }),
        "effects" => read(body).map(|wanted: Wanted| {
            desk.effects(wanted);
            Reply::json(200, &json!({}))
        }),
        "tap" => {
            let word = |name| parameter(query, name).unwrap_or_default();
            let record = Some((word("name"), body.to_vec()));
            desk.question(Asked { what: Subject::Tap, build: word("build"), record });
            Ok(Reply::json(200, &json!({})))
        }
        "begin" => read(body).map(|start: Start| {
            let begun = start.text().and_then(|text| desk.begin(&start.file, &text));
            match begun {
                Ok(()) => Reply::json(200, &json!({})),
                Err(problem) => Reply::json(422, &json!({ "problem": problem })),
            }
        }),
        _ => Err(Reply::refused(404, "there is nothing of that name")),
    };
    found.unwrap_or_else(|refusal| refusal)
}

/// What a change of the text came to.
fn written(done: Result<u64, Refused>) -> Reply {
    match done {
        Ok(revision) => Reply::json(200, &json!({ "revision": revision })),
        Err(Refused::Problem(problem)) => Reply::json(422, &json!({ "problem": problem })),
        Err(refused) => {
            let why = match refused {
                Refused::ChangedOnDisk => {
                    "The file was changed by another program; it is shown as it stands now."
                }
                _ => "The design was changed meanwhile; it is shown as it stands now.",
            };
            Reply::json(409, &json!({ "why": why }))
        }
    }
}

fn read<T: DeserializeOwned>(body: &[u8]) -> Result<T, Reply> {
    serde_json::from_slice(body).map_err(|fault| Reply::refused(400, &fault.to_string()))
}

/// The value of `name` in a query, with its escapes undone.
fn parameter(query: &str, name: &str) -> Option<String> {
    let value = query.split('&').find_map(|pair| pair.strip_prefix(name)?.strip_prefix('='))?;
    let mut bytes = value.bytes();
    let mut plain = Vec::new();
    while let Some(byte) = bytes.next() {
        let escaped = |byte: u8| (byte as char).to_digit(16);
        plain.push(match byte {
            b'%' => (16 * escaped(bytes.next()?)? + escaped(bytes.next()?)?) as u8,
            b'+' => b' ',
            plain => plain,
        });
    }
    String::from_utf8(plain).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::folder::tests::Shelf;
    use serde_json::Value;
    use stillbed_design::SMALLEST;
    use stillbed_material::Table;

    struct Asker {
        desk: Desk,
        guard: Guard,
        shelf: Shelf,
    }

    impl Asker {
        fn new() -> Asker {
            let shelf = Shelf::with("a.toml", SMALLEST);
            let desk = Desk::new(Box::new(shelf.clone()), Table::built_in(), Some("a.toml")).unwrap();
            Asker { desk, guard: Guard::new(4000, &[7; 16]), shelf }
        }

        fn ask(&self, method: Method, path: &str, body: &[u8]) -> Reply {
            let address = self.guard.address();
            let target = format!("{}{path}", address.strip_prefix("http://127.0.0.1:4000").unwrap());
            let host = "127.0.0.1:4000".to_string();
            let (origins, body) = (vec![format!("http://{host}")], body.to_vec());
            reply(&self.desk, &self.guard, &Request { method, target, hosts: vec![host], origins, body })
        }

        fn post(&self, path: &str, body: Value) -> (u16, Value) {
            let reply = self.ask(Method::Post, path, body.to_string().as_bytes());
            (reply.status, serde_json::from_slice(&reply.body).unwrap_or_default())
        }
    }

    #[test]
    fn the_page_loads_nothing_that_is_not_there_and_runs_nothing_inline() {
        let asker = Asker::new();
        for (name, text) in MODULES.iter().chain(&OWN_MODULES) {
            let reply = asker.ask(Method::Get, &format!("script/{name}"), b"");
            assert_eq!((reply.status, reply.body.as_slice()), (200, text.as_bytes()));
            for line in text.lines().filter(|line| line.starts_with("import ")) {
                let from = line.split('"').nth(1).and_then(|path| path.strip_prefix("./")).unwrap();
                assert_eq!(
                    asker.ask(Method::Get, &format!("script/{from}"), b"").status,
                    200,
                    "{name}: {line}"
                );
            }
        }
        for part in PAGE.split(['"']).filter(|part| part.ends_with(".css") || part.ends_with(".js")) {
            assert_eq!(asker.ask(Method::Get, part, b"").status, 200, "{part}");
        }
        assert!(!PAGE.contains("style=") && !PAGE.contains("onclick") && !PAGE.contains("<style"));
        assert!(PAGE.matches("<script").count() == 1 && PAGE.contains("type=\"module\" src="));
        let reply = asker.ask(Method::Get, "", b"");
        let policy = reply.headers().find(|(name, _)| *name == "Content-Security-Policy").unwrap().1;
        assert!(
            policy.starts_with("default-src 'none'") && !policy.contains("unsafe") && !policy.contains('*')
        );
    }

    #[test]
    fn no_other_file_is_read_or_written() {
        let asker = Asker::new();
        for path in
            ["a.toml", "../a.toml", "script/../page.html", "script/%2e%2e/a.toml", "//etc/passwd", "script/"]
        {
            assert_eq!(asker.ask(Method::Get, path, b"").status, 404, "{path}");
        }
        for file in [
            "../b.toml",
            "/elsewhere/b.toml",
            "b",
            ".b.toml",
            "a/b.toml",
            "a\\b.toml",
            "c:b.toml",
            "",
            "a.toml",
            "b\0.toml",
            "-b.toml",
            "CON.toml",
        ] {
            let start = json!({ "sketch": "portal", "file": file, "envelope": [600, 400, 500], "load": 8 });
            let (status, said) = asker.post("begin", start);
            assert_eq!(status, 422, "{file:?} {said}");
        }
        assert_eq!(asker.shelf.text("a.toml"), SMALLEST);
    }

    #[test]
    fn a_stale_write_is_refused_and_said() {
        let asker = Asker::new();
        let text = SMALLEST.replace("300, 0, 0 mm", "310, 0, 0 mm");
        let write = |from: u64| asker.post("text", json!({ "from": from, "text": text, "typing": false }));
        assert_eq!(write(1), (200, json!({ "revision": 2 })));
        assert_eq!(asker.shelf.text("a.toml"), text);
        assert_eq!(write(1).0, 409);
        asker.shelf.put("a.toml", SMALLEST);
        let (status, said) = write(2);
        assert!(status == 409 && said["why"].as_str().unwrap().contains("another program"), "{said}");
        assert_eq!(asker.shelf.text("a.toml"), SMALLEST);
        let (status, said) = asker.post("text", json!({ "from": 3, "text": "a = = 1", "typing": true }));
        assert!(status == 422 && said["problem"]["message"].is_string(), "{said}");
    }

    #[test]
    fn what_is_no_request_is_refused() {
        let asker = Asker::new();
        assert_eq!(asker.ask(Method::Other, "text", b"").status, 405);
        assert_eq!(asker.ask(Method::Post, "change", b"{}").status, 400);
        assert_eq!(
            asker.post("text", json!({ "from": 1, "text": "", "typing": false, "file": "b.toml" })).0,
            400
        );
        assert_eq!(asker.post("nothing", json!({})).0, 404);
    }

    #[test]
    fn the_escapes_of_a_query_are_undone() {
        assert_eq!(parameter("build=a%20b&name=t+1.wav", "build").as_deref(), Some("a b"));
        assert_eq!(parameter("build=a%20b&name=t+1.wav", "name").as_deref(), Some("t 1.wav"));
        assert_eq!(parameter("build=%e2%82%ac", "build").as_deref(), Some("€"));
        assert_eq!(parameter("build=%e2", "build"), None);
        assert_eq!(parameter("rename=1", "name"), None);
    }
}
