//! Drives a headless browser over its debugging protocol.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tungstenite::protocol::WebSocketConfig;
use tungstenite::{Message, WebSocket};

/// Names of browsers that speak the protocol.
const NAMES: [&str; 4] = ["chromium", "chromium-browser", "google-chrome-stable", "google-chrome"];

/// How long to wait for a page to reach a state.
const PATIENCE: Duration = Duration::from_secs(60);

/// A browser with one open tab.
pub struct Browser {
    child: Child,
    socket: WebSocket<TcpStream>,
    session: Option<String>,
    calls: u64,
    /// What the tab reported since the last visit.
    pub events: Vec<Value>,
    // The browser's profile folder, deleted when the browser has ended.
    _profile: tempfile::TempDir,
}

fn program() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    NAMES.iter().find_map(|name| folders.iter().map(|folder| folder.join(name)).find(|file| file.is_file()))
}

impl Browser {
    /// Starts a browser. Without one on the machine prints a note and returns `None`.
    ///
    /// # Panics
    /// If there is none although `STILLBED_BROWSER=required` asks for one, or if it does not start.
    pub fn start() -> Option<Browser> {
        let Some(program) = program() else {
            let required = std::env::var("STILLBED_BROWSER").is_ok_and(|word| word == "required");
            assert!(!required, "no browser on PATH; install chromium");
            eprintln!("skipped: no browser on PATH; install chromium to test the page");
            return None;
        };
        let profile = tempfile::tempdir().unwrap();
        let mut child = Command::new(program)
            .args(["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"])
            .args(["--no-first-run", "--remote-debugging-port=0", "--mute-audio"])
            .args(["--autoplay-policy=no-user-gesture-required", "--disable-background-networking"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stderr(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines().map_while(Result::ok);
        let address = lines.find_map(|line| Some(line.split_once("ws://")?.1.trim().to_string()));
        let address = address.expect("the browser says where it listens");
        // Reads the rest of its output, so that the browser never blocks on a full pipe.
        std::thread::spawn(move || lines.for_each(drop));
        let host = address.split_once('/').unwrap().0.to_string();
        let stream = TcpStream::connect(host).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        // A page printed to PDF is one long message.
        let limits = WebSocketConfig::default().max_message_size(None).max_frame_size(None);
        let request = format!("ws://{address}");
        let (socket, _) = tungstenite::client::client_with_config(request, stream, Some(limits)).unwrap();
        let mut browser =
            Browser { child, socket, session: None, calls: 0, events: Vec::new(), _profile: profile };
        let tab = browser.call("Target.createTarget", json!({ "url": "about:blank" }));
        let attach = json!({ "targetId": tab["targetId"], "flatten": true });
        let session = browser.call("Target.attachToTarget", attach);
        browser.session = session["sessionId"].as_str().map(str::to_string);
        for domain in ["Page", "Runtime", "Network", "Log", "Accessibility"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        Some(browser)
    }

    /// Calls `method` in the tab and returns the answer.
    pub fn call(&mut self, method: &str, parameters: Value) -> Value {
        self.calls += 1;
        let mut message = json!({ "id": self.calls, "method": method, "params": parameters });
        if let Some(session) = &self.session {
            message["sessionId"] = json!(session);
        }
        self.socket.send(Message::text(message.to_string())).unwrap();
        loop {
            let Message::Text(text) = self.socket.read().unwrap() else { continue };
            let answer: Value = serde_json::from_str(&text).unwrap();
            if answer["id"] == json!(self.calls) {
                assert!(answer["error"].is_null(), "{method}: {}", answer["error"]);
                return answer["result"].clone();
            }
            self.events.push(answer);
        }
    }

    /// Runs `script` in the page and returns its value.
    pub fn run(&mut self, script: &str) -> Value {
        let asked = json!({ "expression": script, "returnByValue": true, "awaitPromise": true });
        let answer = self.call("Runtime.evaluate", asked);
        assert!(answer["exceptionDetails"].is_null(), "{script}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    /// Waits until `script` is true in the page.
    pub fn until(&mut self, script: &str) {
        let start = Instant::now();
        while self.run(script) != json!(true) {
            assert!(start.elapsed() < PATIENCE, "never came: {script}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Opens the file at `path` and waits until it has loaded.
    pub fn visit(&mut self, path: &Path) {
        self.events.clear();
        self.call("Page.navigate", json!({ "url": format!("file://{}", path.display()) }));
        self.until("location.protocol === 'file:' && document.readyState === 'complete'");
    }

    /// Opens the page at `address` of a server and waits until it has loaded.
    pub fn open(&mut self, address: &str) {
        self.run("window.isLeft = true");
        self.events.clear();
        self.call("Page.navigate", json!({ "url": address }));
        self.until("!window.isLeft && document.readyState === 'complete'");
    }

    /// Sets the width of the window.
    pub fn width(&mut self, width: u32) {
        self.size(width, 900);
    }

    /// Sets the size of the window.
    pub fn size(&mut self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.call("Emulation.setDeviceMetricsOverride", size);
    }

    /// Emulates a `media` type and the preference for a `dark` or `light` scheme.
    pub fn scheme(&mut self, media: &str, scheme: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        self.call("Emulation.setEmulatedMedia", json!({ "media": media, "features": features }));
    }

    /// Presses and releases a key, such as `Tab`, `Enter` or `+`.
    pub fn press(&mut self, key: &str) {
        let code = match key {
            "Tab" => 9,
            "Enter" => 13,
            "Escape" => 27,
            "End" => 35,
            "Home" => 36,
            "ArrowLeft" => 37,
            "ArrowUp" => 38,
            "ArrowRight" => 39,
            "ArrowDown" => 40,
            _ => 0,
        };
        let text = match key {
            "Enter" => Some("\r"),
            key if key.chars().count() == 1 => Some(key),
            _ => None,
        };
        let mut down = json!({ "type": "rawKeyDown", "key": key, "windowsVirtualKeyCode": code });
        if let Some(text) = text {
            down["type"] = json!("keyDown");
            down["text"] = json!(text);
        }
        self.call("Input.dispatchKeyEvent", down);
        let up = json!({ "type": "keyUp", "key": key, "windowsVirtualKeyCode": code });
        self.call("Input.dispatchKeyEvent", up);
    }

    /// Errors, violations of the security policy and exceptions since the last visit.
    pub fn complaints(&self) -> Vec<String> {
        let bad = |event: &&Value| match event["method"].as_str() {
            Some("Runtime.exceptionThrown") => true,
            Some("Runtime.consoleAPICalled") => {
                ["error", "warning", "assert"].contains(&event["params"]["type"].as_str().unwrap_or_default())
            }
            Some("Log.entryAdded") => event["params"]["entry"]["level"] != "verbose",
            _ => false,
        };
        self.events.iter().filter(bad).map(Value::to_string).collect()
    }

    /// Addresses requested since the last visit.
    pub fn requests(&self) -> Vec<String> {
        let asked = self.events.iter().filter(|event| event["method"] == "Network.requestWillBeSent");
        asked.map(|event| event["params"]["request"]["url"].as_str().unwrap().to_string()).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let close = json!({ "id": 0, "method": "Browser.close" }).to_string();
        let _ = self.socket.send(Message::text(close));
        let start = Instant::now();
        while start.elapsed() < Duration::from_secs(5) {
            if !matches!(self.child.try_wait(), Ok(None)) {
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
