//! A design alive in a real browser: shown, typed, dragged, undone, changed on the disk, killed and begun again.

use crate::browser::Browser;
use serde_json::json;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// The program serving a design, ended when dropped.
struct Program {
    child: Child,
    address: String,
}

impl Program {
    /// Opens `file` of `folder`, or begins without one.
    fn open(folder: &Path, file: Option<&str>) -> Program {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillbed"));
        command.arg("open").args(file).arg("--no-browser").current_dir(folder);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().unwrap();
        let mut address = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut address).unwrap();
        assert!(address.starts_with("http://127.0.0.1:") && address.ends_with("/\n"), "{address:?}");
        Program { child, address: address.trim_end().to_string() }
    }

    fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A folder with the starter design in it.
fn started() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("stand.toml");
    std::fs::write(&file, stillbed::design::STARTER).unwrap();
    (folder, file)
}

const DONE: &str = "document.querySelector('#state').textContent === 'saved in stand.toml' \
    && document.querySelectorAll('#scores .spread').length > 0 \
    && document.querySelectorAll('#figure .handle').length > 0";

/// The middle of the visible handle of a point, in the window.
fn handle(browser: &mut Browser, name: &str) -> [f64; 2] {
    let place = browser.run(&format!(
        "(() => {{ const all = [...document.querySelectorAll('.handle')].filter((h) => h.dataset.name === '{name}'); \
         const h = all.find((h) => h.closest('.sheet').offsetParent !== null); \
         h.scrollIntoView({{ block: 'center', behavior: 'instant' }}); const box = h.getBoundingClientRect(); \
         return [box.left + box.width / 2, box.top + box.height / 2]; }})()"
    ));
    [0, 1].map(|i| place[i].as_f64().unwrap())
}

fn mouse(browser: &mut Browser, kind: &str, [x, y]: [f64; 2]) {
    let buttons = i32::from(kind != "mouseReleased");
    let event =
        json!({ "type": kind, "x": x, "y": y, "button": "left", "buttons": buttons, "clickCount": 1 });
    browser.call("Input.dispatchMouseEvent", event);
}

fn choose(browser: &mut Browser, thing: &str) {
    browser.run(&format!(
        "(() => {{ const things = document.querySelector('#thing'); things.value = '{thing}'; \
         things.dispatchEvent(new Event('change')); }})()"
    ));
}

/// Presses the first button in the page with this text.
fn press(browser: &mut Browser, text: &str) {
    browser.run(&format!(
        "[...document.querySelectorAll('button')].find((b) => b.textContent === {}).click()",
        json!(text)
    ));
}

fn text(file: &Path) -> String {
    std::fs::read_to_string(file).unwrap()
}

/// Waits until the file says what `right` wants.
fn until(file: &Path, right: impl Fn(&str) -> bool) {
    for _ in 0..600 {
        if right(&text(file)) {
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    panic!("the file never came: {}", text(file));
}

/// Waits until the page shows the file as it stands, with all answers.
fn settled(browser: &mut Browser, file: &Path) {
    browser.until(&format!("document.querySelector('#text').value === {}", json!(text(file))));
    browser.until(DONE);
}

#[test]
fn it_is_shown_typed_dragged_undone_and_survives_everyone_else() {
    let Some(mut browser) = Browser::start() else { return };
    let (folder, file) = started();
    let mut program = Program::open(folder.path(), Some("stand.toml"));
    browser.size(1280, 900);
    browser.open(&program.address);
    browser.until(DONE);
    assert_eq!(browser.complaints(), Vec::<String>::new());
    let requests = browser.requests();
    assert!(requests.iter().all(|address| address.starts_with(&program.address)), "{requests:?}");
    let first = "['#verdict', '#figure svg', '#scores table', '#text'].every((own) => \
        document.querySelector(own).getBoundingClientRect().top < innerHeight - 100)";
    assert_eq!(browser.run(first), json!(true), "the first screen has all four");

    // Typed: saved when typing rests, and answered.
    let verdict = browser.run("document.querySelector('#scores').textContent");
    browser.run(
        "(() => { const t = document.querySelector('#text'); t.focus(); \
         const at = t.value.indexOf('0, 180, 360 mm'); t.setSelectionRange(at + 8, at + 9); \
         document.execCommand('insertText', false, '4'); })()",
    );
    until(&file, |text| text.contains("head = \"0, 180, 460 mm\""));
    settled(&mut browser, &file);
    browser.until(&format!("document.querySelector('#scores').textContent !== {verdict}"));
    // What is no TOML stays on the page and out of the file.
    let before = text(&file);
    browser.run(
        "(() => { const t = document.querySelector('#text'); t.setSelectionRange(0, 0); \
        document.execCommand('insertText', false, '= = '); })()",
    );
    browser.until("document.querySelector('#state').textContent.startsWith('what is typed is not saved')");
    std::thread::sleep(std::time::Duration::from_millis(800));
    assert_eq!(text(&file), before);
    browser.run(
        "(() => { const t = document.querySelector('#text'); t.setSelectionRange(0, 4); \
        document.execCommand('delete'); })()",
    );
    settled(&mut browser, &file);
    press(&mut browser, "Undo");
    until(&file, |text| text == stillbed::design::STARTER);
    settled(&mut browser, &file);

    // Dragged: nothing is written before it is let go; the old outline and the stated values show meanwhile.
    let [x, y] = handle(&mut browser, "head");
    mouse(&mut browser, "mousePressed", [x, y]);
    for step in 1..=8 {
        mouse(&mut browser, "mouseMoved", [x, y - 5.0 * f64::from(step)]);
    }
    browser.until("!document.querySelector('#live').hidden && document.querySelector('.sheet.wide .ghost').getAttribute('d') !== ''");
    assert_eq!(text(&file), stillbed::design::STARTER);
    mouse(&mut browser, "mouseReleased", [x, y - 40.0]);
    until(&file, |text| text != stillbed::design::STARTER);
    let dragged = text(&file);
    let changed: Vec<&str> =
        dragged.lines().filter(|line| !stillbed::design::STARTER.lines().any(|own| own == *line)).collect();
    let [line] = changed[..] else { panic!("{changed:?}") };
    let height = line.strip_prefix("head = \"0, 180, ").and_then(|rest| rest.strip_suffix(" mm\""));
    let height: i32 = height.unwrap_or_else(|| panic!("{line}")).parse().unwrap();
    assert!(height > 360 && height % 5 == 0, "{line}");
    settled(&mut browser, &file);

    // By keyboard: the handle opens the point, whose coordinate is typed.
    browser.run("[...document.querySelectorAll('.sheet.wide .handle')].find((h) => h.dataset.name === 'drill').focus()");
    browser.press("Enter");
    assert_eq!(browser.run("document.querySelector('#thing').value"), json!("point/drill"));
    browser.run(
        "(() => { const z = document.querySelectorAll('#chosen input')[2]; z.value = '240'; \
        z.dispatchEvent(new Event('change')); })()",
    );
    until(&file, |text| text.contains("drill = \"0, 0, 240 mm\""));
    settled(&mut browser, &file);
    press(&mut browser, "Undo");
    until(&file, |text| text == dragged);
    settled(&mut browser, &file);
    press(&mut browser, "Redo");
    until(&file, |text| text.contains("drill = \"0, 0, 240 mm\""));
    settled(&mut browser, &file);

    // An editor writes: it is shown at once.
    let theirs = text(&file).replace("\"3.5 kg\"", "\"4.5 kg\" # theirs");
    std::fs::write(&file, &theirs).unwrap();
    browser.until("document.querySelector('#text').value.includes('# theirs')");
    settled(&mut browser, &file);

    // Killed: what was accepted is in the file, and the page says so.
    program.kill();
    browser.until("document.querySelector('#state').textContent.startsWith('the program has ended')");
    assert_eq!(text(&file), theirs);
    let program = Program::open(folder.path(), Some("stand.toml"));
    browser.open(&program.address);
    settled(&mut browser, &file);
    browser.until("document.querySelector('#text').value.includes('# theirs')");
}

#[test]
fn what_is_wrong_is_shown_at_its_line_and_mended() {
    let Some(mut browser) = Browser::start() else { return };
    let (folder, file) = started();
    std::fs::write(&file, stillbed::design::STARTER.replacen("structural steel", "structural stel", 1))
        .unwrap();
    let program = Program::open(folder.path(), Some("stand.toml"));
    browser.size(1280, 900);
    browser.open(&program.address);
    browser.until("document.querySelectorAll('#wrong .error').length === 1");
    let marked = "[...document.querySelectorAll('#lines .error')].map((line) => line.textContent).join()";
    let line = browser.run(marked);
    let number: usize = line.as_str().unwrap().parse().unwrap();
    assert!(text(&file).lines().nth(number - 1).unwrap().contains("structural stel\""));
    press(&mut browser, "Mend it");
    until(&file, |text| text == stillbed::design::STARTER);
    browser.until(DONE);
    // What an editor breaks is marked in the drawing that stood before, and the mark goes with the fault.
    let flags = "document.querySelectorAll('.sheet.wide .flag.error').length";
    assert_eq!(browser.run(flags), json!(0));
    let broken = text(&file).replacen("section = \"spine\"", "section = \"spline\"", 1);
    std::fs::write(&file, broken).unwrap();
    browser.until(&format!("{flags} === 1"));
    press(&mut browser, "Mend it");
    browser.until(&format!("{flags} === 0"));
    until(&file, |text| text == stillbed::design::STARTER);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn from_a_sketch_to_a_sized_poured_and_tapped_stand() {
    let Some(mut browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let program = Program::open(folder.path(), None);
    browser.size(1280, 900);
    browser.open(&program.address);
    browser.until("document.querySelectorAll('#sketches input').length === 5");
    browser.run(
        "(() => { document.querySelector('[value=column]').click(); const f = document.querySelector('#sketch').elements; \
         f.high.value = 500; f.load.value = 4; document.querySelector('#sketch button').click(); })()",
    );
    let file = folder.path().join("stand.toml");
    browser.until(DONE);
    assert!(text(&file).contains("head = \"0, -120, 500 mm\"") && text(&file).contains("mass = \"4 kg\""));
    assert_eq!(browser.run("document.querySelectorAll('#wrong li').length"), json!(0), "a sketch is sound");

    // A section: what a millimetre does, and another size.
    browser.run("(() => { const b = document.querySelector('#build'); b.value = 'welded'; b.dispatchEvent(new Event('change')); })()");
    browser.until("document.querySelector('#figure figcaption').textContent.startsWith('Welded')");
    choose(&mut browser, "member/column");
    browser.until(
        "document.querySelectorAll('#effects tr').length === 3 \
        && !document.querySelector('#effects').textContent.includes('tried')",
    );
    let effects = browser.run("document.querySelector('#effects').textContent");
    assert!(
        effects.as_str().unwrap().contains("+1 mm wall of the tube")
            && effects.as_str().unwrap().contains("Hz"),
        "{effects}"
    );
    press(&mut browser, "Stock sizes near it");
    browser.until("document.querySelectorAll('#effects tr').length === 10");

    // Sized: the choice is shown as lines of the file and taken over.
    let before = text(&file);
    browser.run("document.querySelector('[data-ask=size]').click()");
    browser.until("document.querySelectorAll('#found .differs .new').length > 0");
    browser.run("document.querySelector('#adopt').click()");
    until(&file, |text| text != before);
    for (question, holds) in
        [("pour", "table"), ("thermal", "table"), ("response", "svg"), ("ringdown", "svg")]
    {
        browser.run(&format!("document.querySelector('[data-ask={question}]').click()"));
        browser.until(&format!(
            "document.querySelector('[data-ask={question}]').getAttribute('aria-pressed') === 'true' \
             && !document.querySelector('#found').classList.contains('waits') \
             && document.querySelectorAll('#found {holds}').length > 0"
        ));
    }
    // A recording that is dropped is read and set against the model.
    browser.run(
        "(() => { let csv = 'time s,head.x m/s2\\n'; for (let i = 0; i < 8000; i++) { const t = i / 4000 - 0.1; \
         const a = t < 0 ? 0 : Math.exp(-4 * t) * Math.sin(2 * Math.PI * 41 * t); csv += `${i / 4000},${a + 1e-4 * (i % 7)}\\n`; } \
         const data = new DataTransfer(); data.items.add(new File([csv], 'tap.csv')); \
         document.querySelector('#tap').dispatchEvent(new DragEvent('drop', { dataTransfer: data, bubbles: true })); })()",
    );
    browser.until("document.querySelector('#found').textContent.includes('tap.csv')");
    let found = browser.run("document.querySelector('#found').textContent");
    assert!(found.as_str().unwrap().contains("41"), "{found}");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn it_fits_a_telephone_and_every_control_has_a_name() {
    let Some(mut browser) = Browser::start() else { return };
    let (folder, _) = started();
    let program = Program::open(folder.path(), Some("stand.toml"));
    for (width, height) in [(1280, 900), (640, 450), (390, 844)] {
        browser.size(width, height);
        browser.open(&program.address);
        browser.until(DONE);
        assert_eq!(browser.run("document.documentElement.scrollWidth <= innerWidth"), json!(true), "{width}");
        let unnamed = browser.run(
            "[...document.querySelectorAll('button, input, select, textarea')].filter((own) => own.offsetParent \
             && !(own.textContent.trim() || own.ariaLabel || own.labels?.length || own.getAttribute('aria-labelledby'))) \
             .map((own) => own.outerHTML)",
        );
        assert_eq!(unnamed, json!([]));
    }
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

/// A request without the browser: its status.
fn status(program: &Program, head: &str) -> u16 {
    use std::io::{Read, Write};
    let host = program.address.strip_prefix("http://").unwrap().split('/').next().unwrap();
    let mut stream = std::net::TcpStream::connect(host).unwrap();
    stream.write_all(head.replace("HOST", host).as_bytes()).unwrap();
    let mut said = String::new();
    let _ = stream.read_to_string(&mut said);
    said.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or_else(|| panic!("{said:?}"))
}

#[test]
fn nobody_else_is_answered() {
    let (folder, file) = started();
    let program = Program::open(folder.path(), Some("stand.toml"));
    let path = program.address.splitn(4, '/').nth(3).unwrap().to_string();
    let get = |path: &str, headers: &str| {
        status(&program, &format!("GET /{path} HTTP/1.1\r\n{headers}Connection: close\r\n\r\n"))
    };
    assert_eq!(get(&path, "Host: HOST\r\n"), 200);
    assert_eq!(get("", "Host: HOST\r\n"), 403);
    assert_eq!(get("0123456789abcdef0123456789abcdef/", "Host: HOST\r\n"), 403);
    assert_eq!(get(&path, "Host: stand.example\r\n"), 403);
    assert_eq!(get(&path, "Host: HOST\r\nOrigin: http://stand.example\r\n"), 403);
    assert_eq!(get(&format!("{path}../stand.toml"), "Host: HOST\r\n"), 404);
    let body = json!({ "from": 1, "text": "title = \"x\"\n", "typing": false }).to_string();
    let post = |origin: &str| {
        let length = body.len();
        status(
            &program,
            &format!(
                "POST /{path}text HTTP/1.1\r\nHost: HOST\r\n{origin}Content-Length: {length}\r\nConnection: close\r\n\r\n{body}"
            ),
        )
    };
    assert_eq!(post(""), 403);
    assert_eq!(post("Origin: http://stand.example\r\n"), 403);
    assert_eq!(text(&file), stillbed::design::STARTER);
    assert_eq!(post("Origin: http://HOST\r\n"), 200);
    assert_eq!(text(&file), "title = \"x\"\n");
}
