//! `open`: a design alive in the browser. Here are the socket, the file and the threads; what is answered is in
//! `stillbed_open`.
//!
//! The file is looked at a few times a second rather than watched by the system: one small file costs nothing to
//! read, and it is seen however it is replaced and on whatever disk it lies, which notices of the system do not promise.

use super::ending::{Ending, Failure};
use super::paths::Paths;
use super::writing::write_atomically;
use super::{files, input, output};
use std::io::Read;
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::thread;
use std::time::Duration;
use stillbed_input::problem::{Place, Problem};
use stillbed_open::{Desk, Folder, Guard, read_request, reply, write_reply};
use stillbed_tap::MAX_BYTES;

/// Open a design alive in the browser: drawn, dragged, answered while you look
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  stillbed open stand.toml\n  stillbed open                   # begin with a sketch\n\nThe file stays the truth: what is changed in the page is written to it at\nonce, what an editor writes to it is shown at once. The address that is\nprinted holds a token; this machine alone is answered. Ctrl-C ends it."
)]
pub(super) struct Arguments {
    /// The design file; without one, a sketch is begun in this folder
    #[arg(value_name = "DESIGN.toml")]
    design: Option<PathBuf>,
    /// Print the address, and open no browser
    #[arg(long)]
    no_browser: bool,
    /// The port to listen on; else a free one
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,
    #[command(flatten)]
    known: input::MaterialsOption,
}

impl Arguments {
    /// Every file that a run with these reads and writes.
    pub fn paths(&self) -> Paths<'_> {
        Paths::reading(self.known.materials.as_deref()).writing("DESIGN.toml", self.design.as_deref())
    }
}

/// Most connections at a time: a page keeps one waiting for news and opens a few more.
const MOST_CONNECTIONS: usize = 64;

/// How long a connection may be silent.
const PATIENCE: Duration = Duration::from_secs(10);

/// Most bytes that are read of a request after its refusal.
const LEFT: u64 = 1 << 20;

/// How often the file is looked at.
const LOOK: Duration = Duration::from_millis(200);

/// The folder of the design on the disk.
struct OnDisk(PathBuf);

impl OnDisk {
    fn file(&self, file: &str) -> Result<PathBuf, Problem> {
        match Path::new(file).file_name() {
            Some(name) if name == file => Ok(self.0.join(file)),
            _ => Err(Problem::error(Place::file(file), "it is not a file of the folder of the design")),
        }
    }
}

impl Folder for OnDisk {
    fn read(&self, file: &str) -> Result<String, Problem> {
        files::read_design(&self.file(file)?)
    }

    fn write(&self, file: &str, text: &str) -> Result<(), Problem> {
        write_atomically(&self.file(file)?, text.as_bytes())
    }

    fn create(&self, file: &str, text: &str) -> Result<(), Problem> {
        let path = self.file(file)?;
        // A link that leads nowhere is there too.
        if path.symlink_metadata().is_ok() {
            return Err(Problem::error(Place::file(file), "the file is there already, and stays as it is")
                .with_help("name another file"));
        }
        write_atomically(&path, text.as_bytes())
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Ending, Failure> {
    let (table, doubts) = arguments.known.table()?;
    output::problems(&doubts, None);
    let (folder, file) = place(arguments.design.as_deref())?;
    let desk = Desk::new(Box::new(OnDisk(folder)), table, file.as_deref())?;
    let (listener, guard) = listening(arguments.port)?;
    let address = guard.address();
    output::print(format!("{address}\n").as_bytes())?;
    if !arguments.no_browser && ::open::that_detached(&address).is_err() {
        output::remark("no browser could be opened; open the address above in one");
    }
    serve(desk, &listener, &guard);
    Ok(Ending::Answered)
}

/// The folder of `design` and its name there; without a design this folder.
fn place(design: Option<&Path>) -> Result<(PathBuf, Option<String>), Problem> {
    let fault = |path: &Path, error: &std::io::Error| {
        files::problem(path, format!("cannot be opened: {}", files::reason(error)), "is the folder there?")
    };
    let Some(design) = design else {
        let here = Path::new(".");
        return Ok((here.canonicalize().map_err(|error| fault(here, &error))?, None));
    };
    // Says what is wrong with the file as other commands do.
    files::read_design(design)?;
    let path = design.canonicalize().map_err(|error| fault(design, &error))?;
    let (folder, name) = (path.parent(), path.file_name().and_then(|name| name.to_str()));
    let (Some(folder), Some(name)) = (folder, name) else {
        return Err(files::problem(design, "its name is not plain text".to_string(), "give it another name"));
    };
    Ok((folder.to_path_buf(), Some(name.to_string())))
}

/// A listener that hears this machine alone, and the guard of its requests.
fn listening(port: u16) -> Result<(TcpListener, Guard), Problem> {
    let wrong = |message: String| Problem::error(Place::key("--port"), message);
    let mut secret = [0; 16];
    getrandom::fill(&mut secret)
        .map_err(|_| wrong("this system gives no random numbers for the token".to_string()))?;
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    let bound = listener.and_then(|listener| Ok((listener.local_addr()?.port(), listener)));
    let (own, listener) = bound.map_err(|error| {
        wrong(format!("cannot listen on port {port}: {}", files::reason(&error)))
            .with_help("leave the port out for a free one")
    })?;
    Ok((listener, Guard::new(own, &secret)))
}

/// Answers until the program is ended.
fn serve(desk: Desk, listener: &TcpListener, guard: &Guard) {
    let free = Mutex::new(MOST_CONNECTIONS);
    thread::scope(|scope| {
        for work in [Desk::answer, Desk::answer_questions, Desk::tell_effects] {
            let desk = &desk;
            scope.spawn(move || work(desk));
        }
        scope.spawn(|| {
            loop {
                desk.look();
                thread::sleep(LOOK);
            }
        });
        for connection in listener.incoming().flatten() {
            // Beyond, a connection is dropped; a page asks again.
            let taken = free.lock().is_ok_and(|mut free| {
                let is_free = *free > 0;
                *free -= usize::from(is_free);
                is_free
            });
            if taken {
                let (desk, free) = (&desk, &free);
                scope.spawn(move || {
                    answer(desk, guard, connection);
                    if let Ok(mut free) = free.lock() {
                        *free += 1;
                    }
                });
            }
        }
    });
}

fn answer(desk: &Desk, guard: &Guard, mut connection: TcpStream) {
    let limits = [connection.set_read_timeout(Some(PATIENCE)), connection.set_write_timeout(Some(PATIENCE))];
    if limits.iter().any(Result::is_err) {
        return;
    }
    let answered = match read_request(&mut connection, guard, MAX_BYTES) {
        Ok(request) => reply(desk, guard, &request),
        Err(refusal) => refusal,
    };
    // Who asked may be gone. What is left of a refused request is read, or else the refusal might not arrive.
    let sent = write_reply(&mut connection, &answered).and_then(|()| connection.shutdown(Shutdown::Write));
    if sent.is_ok() {
        let _ = std::io::copy(&mut connection.take(LEFT), &mut std::io::sink());
    }
}
