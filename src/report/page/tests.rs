use super::*;
use crate::demo;
use crate::svg::contrast;
use std::collections::{BTreeMap, BTreeSet};

fn document() -> Document {
    let fact = |name: &str, value: &str| (name.to_string(), value.to_string());
    let mut blocks = demo::blocks();
    let details = blocks.split_off(6);
    Document {
        title: "Small mill, three ways to build it".to_string(),
        facts: vec![
            fact("design", "stand.toml"),
            fact("program", "stillbed 0.1.0"),
            fact("date", "2026-11-25"),
            fact("figures", "invented, for a test of this page"),
        ],
        sections: vec![
            Section::new("What to build", blocks.split_off(1)),
            Section::new("How it moves", details),
            Section::folded("More", vec![Block::Note("Seen by those who ask.".to_string())]),
        ],
        inputs: vec![("stand.toml".to_string(), "title = \"Small mill\"".to_string())],
    }
}

/// Values of the attribute `name`.
fn attributes<'a>(page: &'a str, name: &str) -> Vec<&'a str> {
    let start = format!(" {name}=\"");
    page.split(&start).skip(1).filter_map(|part| part.split('"').next()).collect()
}

/// The page without its script and style sheet.
fn body(page: &str) -> String {
    page.replace(&script::joined(), "").replace(STYLE, "")
}

#[test]
fn the_policy_allows_this_script_and_style_alone() {
    let page = render(&document());
    let policy = attributes(&page, "content")[0].replace("&#39;", "'");
    let script = script::joined();
    for text in [script.as_str(), STYLE] {
        let hash = base64::engine::general_purpose::STANDARD.encode(Sha256::digest(text));
        assert!(policy.contains(&format!("'sha256-{hash}'")), "{policy}");
        assert_eq!(page.matches(text).count(), 1);
    }
    assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"));
    let body = body(&page);
    assert!(!body.contains(" style=\"") && !body.contains(" onclick") && !body.contains(" onload"));
    // Hashes must match the text exactly as it stands in the page.
    assert!(
        page.contains(&format!("<style>{STYLE}</style>"))
            && page.contains(&format!("<script>{script}</script>"))
    );
}

/// The colours in the block of the style sheet that begins with `start`.
fn colours(start: &str) -> BTreeMap<&'static str, &'static str> {
    let block = STYLE.split_once(start).unwrap().1.split_once('}').unwrap().0;
    let pairs =
        block.lines().filter_map(|line| line.trim().strip_prefix("--")?.strip_suffix(';')?.split_once(": "));
    pairs.collect()
}

#[test]
fn text_can_be_read_by_day_and_by_night() {
    let [day, night] = [":root {", "prefers-color-scheme: dark) {\n  :root {"].map(colours);
    assert_eq!(day.len(), night.len());
    for scheme in [day, night] {
        for text in ["ink", "quiet", "link", "warn", "stop"] {
            assert!(contrast(scheme[text], scheme["paper"]) >= 4.5, "{text}");
        }
        for line in ["s0", "s1", "s2", "s3", "s4"] {
            assert!(contrast(scheme[line], scheme["paper"]) >= 3.0, "{line}");
        }
    }
}

#[test]
fn nothing_is_asked_of_a_server() {
    let page = render(&document()).replace("http://www.w3.org/2000/svg", "");
    assert!(
        !page.contains("http://")
            && !page.contains("https://")
            && !page.contains("src=\"")
            && !page.contains("@import")
    );
    assert!(attributes(&page, "href").iter().all(|href| href.starts_with('#')));
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
}

#[test]
fn names_differ_and_references_are_met() {
    let page = body(&render(&document()));
    let ids = attributes(&page, "id");
    let unique: BTreeSet<&&str> = ids.iter().collect();
    assert_eq!(unique.len(), ids.len());
    let mut wanted: Vec<String> = Vec::new();
    for name in ["aria-labelledby", "href"] {
        wanted.extend(
            attributes(&page, name)
                .iter()
                .flat_map(|v| v.split(' '))
                .map(|v| v.trim_start_matches('#').to_string()),
        );
    }
    wanted.extend(page.split("url(#").skip(1).map(|part| part.split(')').next().unwrap().to_string()));
    assert!(wanted.len() > 20);
    for name in wanted {
        assert!(ids.contains(&name.as_str()), "{name}");
    }
}

#[test]
fn every_figure_has_its_caption_and_its_values() {
    let page = body(&render(&document()));
    let figures: Vec<&str> = page.split("<figure").skip(1).collect();
    assert_eq!(figures.len(), 8);
    for figure in figures {
        assert!(figure.contains("<figcaption>"));
    }
    assert_eq!(page.matches("<details aria-label=").count(), 5);
    assert_eq!(page.matches("<details class=\"appendix\" ").count(), 2);
    assert_eq!(page.matches("<h1>").count(), 1);
    assert_eq!(page.matches("<h2 ").count(), 4);
}

#[test]
fn text_of_the_user_stays_text() {
    let evil = "<img src=x onerror=alert(1)>";
    let mut document = document();
    document.title = evil.to_string();
    document.facts.push((evil.to_string(), evil.to_string()));
    document.sections[0].heading = evil.to_string();
    document.sections[0].blocks.push(Block::Note(evil.to_string()));
    document.inputs.push((evil.to_string(), evil.to_string()));
    let page = render(&document);
    assert!(!page.contains("<img"));
    assert_eq!(page.matches("&lt;img").count(), 10);
}

#[test]
fn a_report_of_many_large_curves_stays_small() {
    let mut curve = demo::ringdown();
    curve.series[0].points = (0..200_000).map(|i| [f64::from(i) * 1e-5, f64::from(i % 977) * 1e-9]).collect();
    let sections = vec![Section::new("h", vec![Block::Curve(curve)])];
    let page = render(&Document { title: "t".to_string(), facts: vec![], sections, inputs: vec![] });
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
}

/// Writes the page to the file named by `STORE_PAGE`, for a look in a browser.
#[test]
fn the_page_is_written_where_asked() {
    let page = render(&document());
    assert!(page.ends_with("</html>"));
    if let Some(path) = std::env::var_os("STORE_PAGE") {
        std::fs::write(path, page).unwrap();
    }
}
