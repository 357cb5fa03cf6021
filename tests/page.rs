//! The page of every example in a real browser: it loads without errors and requests nothing, animates,
//! can be read by keyboard and pointer, has enough contrast, fits and prints; and a design alive in it (`alive`).
//!
//! Without a browser on the machine the tests print that they are skipped;
//! `STILLBED_BROWSER=required` makes them fail instead.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod alive;
mod browser;

use browser::Browser;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

const EXAMPLES: [&str; 5] = ["smallest", "roundness-stand", "sized-stand", "gantry-mill", "stone-slab"];

/// What the two forms of a page are called: the verdict, and with all details.
const FORMS: [&str; 2] = ["short", "full"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Writes the page of `design` to `page`, with few draws and a short search.
fn report(design: &Path, form: &str, page: &Path) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillbed"));
    command.arg("report").arg(design).args(["--draws", "6", "--most", "200"]);
    command.args((form == "full").then_some("--full")).arg("--output").arg(page);
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.code().is_some_and(|code| code < 2), "{}: {said}", design.display());
}

/// The folder with the pages of all examples, made once.
fn pages() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pages");
        std::fs::create_dir_all(&folder).unwrap();
        std::thread::scope(|scope| {
            for name in EXAMPLES {
                let design = root().join(format!("examples/{name}.toml"));
                for form in FORMS {
                    let (design, page) = (design.clone(), folder.join(format!("{name}-{form}.html")));
                    scope.spawn(move || report(&design, form, &page));
                }
            }
        });
        folder
    })
}

/// The page with all details.
fn page(name: &str) -> PathBuf {
    pages().join(format!("{name}-full.html"))
}

/// The page with the verdict.
fn short(name: &str) -> PathBuf {
    pages().join(format!("{name}-short.html"))
}

fn every_page() -> Vec<PathBuf> {
    EXAMPLES.iter().flat_map(|name| [short(name), page(name)]).collect()
}

fn is_full(path: &Path) -> bool {
    path.to_string_lossy().ends_with("-full.html")
}

#[test]
fn every_example_opens_without_complaint_and_asks_nothing_of_anyone() {
    let Some(mut browser) = Browser::start() else { return };
    for path in every_page() {
        let name = path.display();
        let size = std::fs::metadata(&path).unwrap().len();
        // The surface of every build and how it moves take most of a page with all details.
        let most = if is_full(&path) { 4_000_000 } else { 1_000_000 };
        assert!(size < most, "{name}: {size} bytes");
        browser.visit(&path);
        let policy = browser.run("document.querySelector('meta[http-equiv]').content");
        let policy = policy.as_str().unwrap();
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        // The script shows the tools when it has run.
        assert_eq!(browser.run("document.querySelectorAll('.tools[hidden]').length"), json!(0), "{name}");
        assert_eq!(browser.complaints(), Vec::<String>::new(), "{name}");
        let requests = browser.requests();
        assert_eq!(requests, [format!("file://{}", path.display())], "{name}");
    }
    // Proves that complaints are noticed: an inline script violates the policy.
    let inline = "const s = document.createElement('script'); s.textContent = 'window.ran = 1'; document.body.append(s)";
    browser.run(inline);
    assert_eq!(browser.run("window.ran ?? 0"), json!(0));
    assert!(!browser.complaints().is_empty());
}

#[test]
fn markup_in_a_title_stays_text() {
    let Some(mut browser) = Browser::start() else { return };
    let evil = "</title></script><img src=x onerror='window.ran = 1'><b>bold</b>";
    let folder = tempfile::tempdir().unwrap();
    let (design, path) = (folder.path().join("evil.toml"), folder.path().join("evil.html"));
    let text = std::fs::read_to_string(root().join("examples/smallest.toml")).unwrap();
    let (_, rest) = text.split_once("title = ").unwrap();
    let (_, rest) = rest.split_once('\n').unwrap();
    std::fs::write(&design, format!("title = {}\n{rest}", json!(evil))).unwrap();
    report(&design, "full", &path);
    browser.visit(&path);
    assert_eq!(browser.run("document.title"), json!(evil));
    assert_eq!(browser.run("document.querySelector('h1').textContent"), json!(evil));
    assert_eq!(browser.run("document.querySelectorAll('img, b').length + (window.ran ?? 0)"), json!(0));
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

/// The paths of the first machine.
const SHAPE: &str = "[...document.querySelector('.sheet.wide .turns').querySelectorAll('.faces path')]\
    .map((path) => path.getAttribute('d')).join(' ')";

/// Shows mode 1 of the first machine.
const MODE_1: &str = "(() => { const chosen = document.querySelector('[data-motion]'); \
    chosen.value = '0'; chosen.dispatchEvent(new Event('change')); })()";

#[test]
fn the_machine_turns_and_its_modes_move_by_keyboard() {
    let Some(mut browser) = Browser::start() else { return };
    browser.width(1400);
    browser.visit(&page("roundness-stand"));
    // The first machine is at rest; what follows is tried on it in mode 1.
    let steps = "document.querySelector('.sheet.wide .turns').querySelectorAll('[data-step]').length";
    assert_eq!(browser.run(steps), json!(0));
    browser.run(MODE_1);
    let coloured = "new Set([...document.querySelector('.sheet.wide .turns').querySelectorAll('[data-step]')]\
        .map((path) => path.dataset.step)).size";
    assert!(browser.run(coloured).as_u64().unwrap() >= 4, "amplitude is shown in several colours");
    let drawn = browser.run(SHAPE);
    browser.run("document.querySelector('.turns').closest('.sheet').focus()");
    browser.press("ArrowLeft");
    let turned = browser.run(SHAPE);
    assert_ne!(turned, drawn);
    browser.press("Home");
    assert_eq!(browser.run(SHAPE), drawn);
    // From the drawing, Tab reaches the choice of a mode, then the button that animates it.
    browser.press("Tab");
    assert_eq!(browser.run("document.activeElement.tagName"), json!("SELECT"));
    browser.press("ArrowDown");
    browser.until("document.querySelector('[data-motion]').value === '1'");
    let second = browser.run(SHAPE);
    assert_ne!(second, drawn);
    browser.press("Tab");
    assert_eq!(browser.run("document.activeElement.dataset.play"), json!("shape"));
    browser.press("Enter");
    assert_eq!(browser.run("document.activeElement.getAttribute('aria-pressed')"), json!("true"));
    // All machines move, each from rest in the same mode, in step.
    let still = "[...document.querySelectorAll('[data-play=shape]')].filter((own) => own.ariaPressed !== 'true').length";
    let at_rest = "[...document.querySelectorAll('[data-motion]')].filter((own) => own.value === '').length";
    assert_eq!([browser.run(still), browser.run(at_rest)], [json!(0), json!(0)]);
    let frame = browser.run(SHAPE);
    browser.until(&format!("({SHAPE}) !== {frame}"));
    browser.press("Enter");
    assert_eq!(browser.run("document.activeElement.getAttribute('aria-pressed')"), json!("false"));
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn who_wants_no_movement_sees_none() {
    let Some(mut browser) = Browser::start() else { return };
    let features = json!([{ "name": "prefers-reduced-motion", "value": "reduce" }]);
    browser.call("Emulation.setEmulatedMedia", json!({ "features": features }));
    browser.visit(&page("smallest"));
    browser.run(MODE_1);
    let before = browser.run(SHAPE);
    browser.run("document.querySelector('[data-play=shape]').click()");
    let after = browser.run(SHAPE);
    assert_ne!(before, after, "the other end is shown");
    let frames = "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))";
    browser.run(frames);
    assert_eq!(browser.run(SHAPE), after);
}

#[test]
fn curves_are_read_and_zoomed_by_keyboard_and_pointer() {
    let Some(mut browser) = Browser::start() else { return };
    browser.width(1400);
    browser.visit(&page("roundness-stand"));
    let figure = "document.querySelector('.x-ticks').closest('figure')";
    let readout = format!("{figure}.querySelector('.readout').textContent");
    let ticks = format!("{figure}.querySelector('.x-ticks').textContent");
    browser.run(&format!("{figure}.scrollIntoView({{ behavior: 'instant' }})"));
    let hint = browser.run(&readout);
    browser.run(&format!("{figure}.querySelector('.sheet').focus()"));
    browser.press("ArrowRight");
    let first = browser.run(&readout);
    assert_ne!(first, hint);
    // The readout shows the axis and a value of every build.
    assert!(first.as_str().unwrap().matches(" · ").count() >= 3, "{first}");
    browser.press("ArrowRight");
    assert_ne!(browser.run(&readout), first);
    let whole = browser.run(&ticks);
    browser.press("+");
    assert_ne!(browser.run(&ticks), whole);
    browser.press("Escape");
    assert_eq!(browser.run(&ticks), whole);
    let place = browser.run(&format!(
        "(() => {{ const b = {figure}.querySelector('svg').getBoundingClientRect(); \
         return [b.left + b.width / 3, b.top + b.height / 3, b.left + b.width / 2]; }})()"
    ));
    let mouse = |kind: &str, x: &Value| {
        let buttons = usize::from(kind != "mouseReleased");
        json!({ "type": kind, "x": x, "y": place[1], "button": "left", "buttons": buttons, "clickCount": 1 })
    };
    browser.call("Input.dispatchMouseEvent", json!({ "type": "mouseMoved", "x": place[0], "y": place[1] }));
    assert_ne!(browser.run(&readout), hint);
    browser.call("Input.dispatchMouseEvent", mouse("mousePressed", &place[0]));
    browser.call("Input.dispatchMouseEvent", mouse("mouseMoved", &place[2]));
    browser.call("Input.dispatchMouseEvent", mouse("mouseReleased", &place[2]));
    assert_ne!(browser.run(&ticks), whole, "a stretch drawn across is seen closer");
    browser.run(&format!("{figure}.querySelector('[data-zoom=all]').click()"));
    assert_eq!(browser.run(&ticks), whole);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn every_control_is_reached_by_tab_and_has_a_name() {
    let Some(mut browser) = Browser::start() else { return };
    browser.width(1400);
    browser.visit(&page("smallest"));
    let all = "window.all = [...document.querySelectorAll('a, button, select, summary, [tabindex]')]\
        .filter((element) => element.checkVisibility()); window.met = new Set(); all.length";
    let count = browser.run(all).as_u64().unwrap();
    assert!(count > 20, "{count}");
    for _ in 0..count {
        browser.press("Tab");
        browser.run("met.add(document.activeElement)");
    }
    let missed =
        browser.run("all.filter((element) => !met.has(element)).map((e) => e.outerHTML.slice(0, 80))");
    assert_eq!(missed, json!([]));
    let tree = browser.call("Accessibility.getFullAXTree", json!({}));
    let needs = ["button", "combobox", "link", "image", "img", "region", "group", "table", "figure"];
    let mut met = 0;
    for node in tree["nodes"].as_array().unwrap() {
        let role = node["role"]["value"].as_str().unwrap_or_default();
        if node["ignored"] == json!(false) && needs.contains(&role) {
            met += 1;
            let name = node["name"]["value"].as_str().unwrap_or_default();
            assert!(!name.trim().is_empty(), "a {role} without a name: {node}");
        }
    }
    assert!(met > 20, "{met}");
}

/// Finds text with a contrast of less than 4.5 to 1 against its background.
const FAINT: &str = r#"(() => {
  const parse = (text) => text.match(/[\d.]+/g).map(Number);
  const luminance = (c) => c.slice(0, 3)
    .map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const under = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const faint = [];
  let seen = 0;
  for (const element of document.querySelectorAll("body *")) {
    const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || !element.checkVisibility() || ["SCRIPT", "title", "desc"].includes(element.tagName)) continue;
    const style = getComputedStyle(element);
    const colour = parse(element instanceof SVGElement ? style.fill : style.color);
    const [a, b] = [luminance(colour), luminance(under(element))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    seen += 1;
    if (ratio < 4.5) faint.push(`${ratio.toFixed(2)} ${element.tagName} ${element.textContent.slice(0, 40)}`);
  }
  return { seen, faint: faint.slice(0, 10) };
})()"#;

#[test]
fn text_stands_out_by_day_and_by_night() {
    let Some(mut browser) = Browser::start() else { return };
    browser.width(1400);
    for name in ["roundness-stand", "sized-stand"] {
        browser.visit(&page(name));
        browser.run("document.querySelectorAll('details').forEach((part) => { part.open = true; })");
        let mut papers = Vec::new();
        for scheme in ["light", "dark"] {
            browser.scheme("", scheme);
            papers.push(browser.run("getComputedStyle(document.body).backgroundColor"));
            let found = browser.run(FAINT);
            assert!(found["seen"].as_u64().unwrap() > 1000, "{found}");
            assert_eq!(found["faint"], json!([]), "{name}, {scheme}");
        }
        assert_ne!(papers[0], papers[1]);
    }
}

/// The rules that the page breaks by the accessibility engine, with where it does.
const BROKEN_RULES: &str = "axe.run(document).then((found) => found.violations.map((rule) =>\
    rule.id + ': ' + rule.nodes.slice(0, 3).map((node) => node.target.join(' ')).join('; ')))";

#[test]
fn no_rule_of_accessibility_is_broken_at_any_width_by_day_or_night() {
    let Some(engine) = std::env::var_os("STILLBED_AXE") else {
        eprintln!("skipped: STILLBED_AXE names no axe.min.js (npm install axe-core)");
        return;
    };
    let engine = std::fs::read_to_string(engine).unwrap();
    let Some(mut browser) = Browser::start() else { return };
    let [narrow, middle, wide] = [390, 800, 1280].map(|width| [(width, "light"), (width, "dark")]);
    let all = [narrow, middle, wide].concat();
    // A page with all details takes the engine seconds.
    let few = [narrow[0], wide[1]];
    for (path, looks) in [
        (short("roundness-stand"), &all[..]),
        (page("roundness-stand"), &few[..]),
        (short("stone-slab"), &all[..]),
        (page("smallest"), &all[..]),
    ] {
        for &(width, scheme) in looks {
            browser.width(width);
            browser.scheme("screen", scheme);
            browser.visit(&path);
            browser.run(&format!("{engine}; 0"));
            let found = browser.run(BROKEN_RULES);
            assert_eq!(found, json!([]), "{} at {width}, {scheme}", path.display());
        }
    }
    // Proves that the engine sees what it should.
    browser.run("document.querySelector('main').append(document.createElement('button'))");
    assert_ne!(browser.run(BROKEN_RULES), json!([]));
}

#[test]
fn nothing_scrolls_sideways_from_telephone_to_desk() {
    let Some(mut browser) = Browser::start() else { return };
    for path in every_page() {
        let name = path.display();
        browser.visit(&path);
        browser.run("document.querySelectorAll('details').forEach((part) => { part.open = true; })");
        for width in [320, 390, 800, 1400] {
            browser.width(width);
            let beyond =
                browser.run("document.documentElement.scrollWidth - document.documentElement.clientWidth");
            assert_eq!(beyond, json!(0), "{name} at {width}");
            let sheets = browser.run(
                "[...document.querySelectorAll('.sheet')].filter((s) => s.checkVisibility() \
                 && s.getBoundingClientRect().right > innerWidth + 0.5).length",
            );
            assert_eq!(sheets, json!(0), "{name} at {width}");
        }
    }
}

/// Paper: name, width and height in inches.
const PAPERS: [(&str, f64, f64); 2] = [("A4", 8.27, 11.69), ("Letter", 8.5, 11.0)];

#[test]
fn print_cuts_no_figure() {
    let Some(mut browser) = Browser::start() else { return };
    for path in every_page() {
        let name = path.display();
        browser.visit(&path);
        for (paper, width, height) in PAPERS {
            // The style sheet's margins: 15 mm at the sides, 13 mm at top and bottom.
            let (across, down) = (96.0 * (width - 30.0 / 25.4), 96.0 * (height - 26.0 / 25.4));
            browser.scheme("print", "light");
            browser.width(across as u32);
            let cut = browser.run(&format!(
                "[...document.querySelectorAll('figure')].filter((f) => f.checkVisibility()).filter((f) => {{ \
                   const box = f.getBoundingClientRect(); \
                   const long = f.matches('.table:not(.short)'); \
                   const whole = getComputedStyle(f).breakInside === 'avoid' && box.height < {down}; \
                   const wide = [...f.querySelectorAll('svg, table')].filter((e) => e.checkVisibility()) \
                     .some((e) => e.getBoundingClientRect().right > innerWidth + 1); \
                   return wide || !(long || whole); \
                 }}).map((f) => f.id + ' ' + f.textContent.slice(0, 60))"
            ));
            assert_eq!(cut, json!([]), "{name} on {paper}");
            let drawn = browser.run(
                "[...document.querySelectorAll('figure:not(.table)')].filter((f) => f.checkVisibility() && \
                 ![...f.querySelectorAll('svg')].some((s) => s.checkVisibility())).length",
            );
            assert_eq!(drawn, json!(0), "{name} on {paper}: a figure without its drawing");
            let asked = json!({
                "paperWidth": width, "paperHeight": height, "printBackground": true, "preferCSSPageSize": false,
            });
            let pdf = browser.call("Page.printToPDF", asked);
            let pdf = decoded(pdf["data"].as_str().unwrap());
            assert!(pdf.len() < 4_000_000, "{name} on {paper}: {} bytes", pdf.len());
            let sheets = pdf.windows(11).filter(|w| *w == b"/Type /Page").count()
                - pdf.windows(12).filter(|w| *w == b"/Type /Pages").count();
            // With all details the largest example fills 57.
            let most = if is_full(&path) { 60 } else { 2 };
            assert!((1..=most).contains(&sheets), "{name} on {paper}: {sheets} pages");
        }
        browser.scheme("", "light");
    }
}

/// Bytes of base64.
fn decoded(text: &str) -> Vec<u8> {
    use base64::Engine;
    base64::engine::general_purpose::STANDARD.decode(text).unwrap()
}

#[test]
fn every_figure_saves_its_drawing_and_its_values() {
    let Some(mut browser) = Browser::start() else { return };
    browser.visit(&page("roundness-stand"));
    let saved = browser.run(
        "(async () => { \
           const blobs = []; \
           URL.createObjectURL = (blob) => { blobs.push(blob); return 'blob:none'; }; \
           URL.revokeObjectURL = () => {}; \
           HTMLAnchorElement.prototype.click = () => {}; \
           const figures = [...document.querySelectorAll('figure')]; \
           const lacking = figures.filter((f) => !f.querySelector('[data-save=csv]') \
             || !f.querySelector('table') || !(f.matches('.table') || f.querySelector('[data-save=svg]'))); \
           document.querySelectorAll('[data-save]').forEach((button) => button.click()); \
           const texts = await Promise.all(blobs.map((blob) => blob.text())); \
           const svgs = texts.filter((t, i) => blobs[i].type === 'image/svg+xml'); \
           const csvs = texts.filter((t, i) => blobs[i].type.startsWith('text/csv')); \
           const broken = svgs.filter((t) => new DOMParser().parseFromString(t, 'image/svg+xml').querySelector('parsererror')); \
           return { figures: figures.length, lacking: lacking.map((f) => f.textContent.slice(0, 50)), \
             buttons: document.querySelectorAll('[data-save]').length, svgs: svgs.length, csvs: csvs.length, \
             broken: broken.length, short: csvs.filter((t) => t.split('\\r\\n').length < 3).length }; \
         })()",
    );
    assert_eq!(saved["lacking"], json!([]));
    assert_eq!(saved["broken"], json!(0));
    assert_eq!(saved["short"], json!(0));
    let number = |key: &str| saved[key].as_u64().unwrap();
    assert_eq!(number("svgs") + number("csvs"), number("buttons"));
    assert_eq!(number("csvs"), number("figures"));
    assert!(number("svgs") > 20, "{saved}");
}

#[test]
fn the_tap_of_each_build_is_heard() {
    let Some(mut browser) = Browser::start() else { return };
    browser.visit(&page("roundness-stand"));
    browser.run(
        "window.made = []; window.started = 0; \
         const create = AudioContext.prototype.createBuffer; \
         AudioContext.prototype.createBuffer = function (...how) { \
           const buffer = create.apply(this, how); made.push(buffer); return buffer; }; \
         const start = AudioBufferSourceNode.prototype.start; \
         AudioBufferSourceNode.prototype.start = function () { started += 1; return start.call(this); }; 0",
    );
    let heard = |browser: &mut Browser| {
        let of = browser.run(
            "made.splice(0).map((buffer) => { \
             const samples = buffer.getChannelData(0); \
             const loudest = (from, to) => samples.slice(from, to).reduce((a, b) => Math.max(a, Math.abs(b)), 0); \
             const part = Math.floor(samples.length / 5); \
             return [loudest(0, part), loudest(4 * part, samples.length), \
               samples.reduce((sum, x, i) => sum + x * x * i, 0)]; })",
        );
        of.as_array().unwrap().clone()
    };
    browser.run("document.querySelectorAll('[data-play=tap]:not([data-line])').forEach((b) => b.click())");
    let mut taps = heard(&mut browser);
    assert_eq!(taps.len(), 5, "one beside the machine at the head and beside that of each build");
    let first = taps.remove(0);
    assert!(taps.contains(&first), "the first is one of the builds");
    // The same at the curves: start at the last tool of the shared figure and press Tab once each.
    let figure = "document.querySelector('[data-line]').closest('figure')";
    browser.run(&format!("{figure}.querySelector('[data-zoom=all]').focus()"));
    for name in ["Welded steel tube", "Bolted aluminium", "Black granite", "Fill on aluminium skeleton"] {
        browser.press("Tab");
        assert_eq!(browser.run("document.activeElement.textContent"), json!(format!("Hear {name}")));
        browser.press("Enter");
    }
    assert_eq!(heard(&mut browser), taps);
    browser.until("started === 9");
    for tap in taps {
        let [first, last] = [0, 1].map(|i| tap[i].as_f64().unwrap());
        assert!((first - 0.8).abs() < 0.01 && last < 0.05 && last > 0.0, "{tap}");
    }
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn the_sizes_of_the_stock_are_on_the_page() {
    let Some(mut browser) = Browser::start() else { return };
    browser.visit(&page("sized-stand"));
    let headings = browser.run("[...document.querySelectorAll('h2')].map((h) => h.textContent)");
    assert!(headings.as_array().unwrap().contains(&json!("Which stock sizes")), "{headings}");
    let front = "[...document.querySelectorAll('figure:not(.table) figcaption')]\
        .some((c) => c.textContent.startsWith('Trades that nothing beats'))";
    assert_eq!(browser.run(front), json!(true));
}

#[test]
fn the_first_screen_shows_verdict_machine_and_targets() {
    let Some(mut browser) = Browser::start() else { return };
    for (width, height) in [(1280, 900), (390, 844)] {
        browser.width(width);
        for name in ["roundness-stand", "gantry-mill"] {
            browser.visit(&short(name));
            let low = browser.run(
                "['.first > p', '.pair .sheet.wide svg, .pair .sheet.narrow svg', '.scores tbody:last-of-type tr:last-child'] \
                 .map((what) => [...document.querySelectorAll(what)].filter((e) => e.checkVisibility()) \
                   .map((e) => e.getBoundingClientRect().bottom + scrollY)).map((all) => all[0] ?? Infinity)",
            );
            for low in low.as_array().unwrap() {
                let low = low.as_f64().unwrap();
                assert!(low < f64::from(height), "{name} at {width}: {low}");
            }
        }
    }
}

/// Overlapping pairs of names, and names over the faces, of the drawings that are seen.
const COVERED: &str = "(() => { \
    const found = []; \
    for (const sheet of document.querySelectorAll('.sheet')) { \
      if (!sheet.checkVisibility() || !sheet.querySelector('.turns')) continue; \
      const texts = [...sheet.querySelectorAll('.names text')]; \
      const boxes = texts.map((text) => text.getBoundingClientRect()); \
      const sheetBox = sheet.querySelector('svg').getBoundingClientRect(); \
      boxes.forEach((a, i) => { \
        if (a.left < sheetBox.left - 1 || a.right > sheetBox.right + 1) found.push('out: ' + texts[i].textContent); \
        boxes.slice(0, i).forEach((b, j) => { \
          if (a.left < b.right && b.left < a.right && a.top < b.bottom - 1 && b.top < a.bottom - 1) \
            found.push(texts[i].textContent + ' on ' + texts[j].textContent); \
        }); \
        const centre = [(a.left + a.right) / 2, (a.top + a.bottom) / 2]; \
        const faces = sheet.querySelector('.faces').getBoundingClientRect(); \
        if (centre[0] > faces.left && centre[0] < faces.right) found.push('over the machine: ' + texts[i].textContent); \
      }); \
    } \
    return found; })()";

#[test]
fn names_cover_neither_each_other_nor_the_machine_however_it_is_turned() {
    let Some(mut browser) = Browser::start() else { return };
    for width in [1280, 390] {
        browser.width(width);
        for name in ["stone-slab", "roundness-stand"] {
            browser.visit(&short(name));
            let named = "document.querySelectorAll('.names text').length";
            assert!(browser.run(named).as_u64().unwrap() > 4);
            browser.run(
                "[...document.querySelectorAll('.turns')].map((turns) => turns.closest('.sheet')) \
                 .find((sheet) => sheet.checkVisibility()).focus()",
            );
            for key in ["Home", "ArrowLeft", "ArrowLeft", "ArrowUp", "ArrowRight", "ArrowDown"] {
                for _ in 0..4 {
                    browser.press(key);
                }
                assert_eq!(browser.run(COVERED), json!([]), "{name} at {width} after {key}");
            }
        }
    }
}

#[test]
fn headings_are_in_order_and_the_contents_are_one_step_away() {
    let Some(mut browser) = Browser::start() else { return };
    browser.width(1280);
    for path in every_page() {
        browser.visit(&path);
        let steps = browser.run(
            "[...document.querySelectorAll('h1, h2, h3, h4')].map((h) => Number(h.tagName[1])) \
             .filter((level, i, all) => level > (all[i - 1] ?? 0) + 1).length",
        );
        assert_eq!(steps, json!(0), "{}", path.display());
        browser.press("Tab");
        assert_eq!(browser.run("document.activeElement.className"), json!("skip"));
        browser.press("Enter");
        browser.until("document.activeElement.id === 'contents' || location.hash === '#contents'");
    }
}

#[test]
fn a_body_moves_with_its_mode() {
    let Some(mut browser) = Browser::start() else { return };
    browser.width(1280);
    browser.visit(&short("stone-slab"));
    let rest = browser.run(SHAPE);
    browser.run(MODE_1);
    let moved = browser.run(SHAPE);
    assert_ne!(moved, rest);
    // All faces that are seen at rest are seen in the mode, and the ghost is where they were.
    let count = |text: &Value| text.as_str().unwrap().matches('z').count();
    assert_eq!(count(&moved), count(&rest));
    assert!(count(&rest) >= 10, "{rest}");
    let ghost = browser.run("document.querySelector('.sheet.wide .ghost').getAttribute('d').length");
    assert!(ghost.as_u64().unwrap() > 50);
}
