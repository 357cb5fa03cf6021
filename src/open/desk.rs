//! The design, its file, and everyone who works on it: the page that asks, and the threads that answer.
//!
//! Three threads of the caller answer: [`Desk::answer`] beside the drawing, [`Desk::answer_questions`] and
//! [`Desk::tell_effects`]; a fourth calls [`Desk::look`] from time to time.

use crate::answers::{Question, Work, answer};
use crate::board::Board;
use crate::change::{Change, changed};
use crate::effects::{Wanted, tell};
use crate::folder::Folder;
use crate::newest::Newest;
use crate::questions::{self, Asked};
use crate::repair::repaired;
use crate::sheet::{Refusal, Sheet, Step};
use serde_json::{Value, json};
use std::sync::{Mutex, MutexGuard, PoisonError};
use stillbed_design::Stated;
use stillbed_input::problem::{Place, Problem};
use stillbed_material::Table;

/// The design, its file, and everyone who works on it.
pub struct Desk {
    folder: Box<dyn Folder>,
    table: Table,
    place: Mutex<OnDesk>,
    /// What the page shows.
    pub(crate) board: Board,
    answers: Newest<Question>,
    questions: Newest<Asked>,
    effects: Newest<Wanted>,
}

/// What lies on the desk.
#[derive(Default)]
struct OnDesk {
    sheet: Option<Sheet>,
    /// The build that is drawn.
    build: Option<String>,
    /// A text that an answer proposes, and the number of the text that it was made from.
    proposed: Option<(u64, String)>,
}

/// Why a text of the page was not taken.
pub(crate) type Refused = Refusal;

/// What stands in place of an answer at which the program failed.
const BROKEN: &str = "<p>The program failed at this question; other questions are answered as before.</p>";

/// What `work` gives; `None` where it fails by a fault of the program, which the next question must not suffer from.
fn unbroken<T>(work: impl FnOnce() -> T) -> Option<T> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)).ok()
}

fn problem(file: &str, message: &str) -> Refusal {
    Refusal::Problem(Problem::error(Place::file(file), message))
}

impl Desk {
    /// A desk with `file` of `folder` on it, or with nothing; `table` holds the known materials.
    ///
    /// # Errors
    /// A file that cannot be read.
    pub fn new(folder: Box<dyn Folder>, table: Table, file: Option<&str>) -> Result<Desk, Problem> {
        let sheet = file.map(|file| Sheet::open(file, folder.as_ref())).transpose()?;
        let desk = Desk {
            folder,
            table,
            place: Mutex::new(OnDesk { sheet, ..OnDesk::default() }),
            board: Board::default(),
            answers: Newest::default(),
            questions: Newest::default(),
            effects: Newest::default(),
        };
        desk.changed(&desk.lock());
        Ok(desk)
    }

    fn lock(&self) -> MutexGuard<'_, OnDesk> {
        self.place.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Shows the text and asks for the answers to it.
    fn changed(&self, place: &OnDesk) {
        let Some(sheet) = &place.sheet else {
            self.board.show(vec![("sheet", Value::Null), ("stage", json!({ "name": "none" }))]);
            return;
        };
        let [undo, redo] = sheet.steps();
        let shown = json!({
            "file": sheet.file, "text": sheet.text, "revision": sheet.revision, "undo": undo, "redo": redo,
        });
        self.effects.forget();
        self.board.show(vec![
            ("sheet", shown),
            ("stage", json!({ "name": "reading" })),
            ("passing", Value::Null),
            ("live", Value::Null),
            ("effects", Value::Null),
        ]);
        self.ask(sheet, &place.build, &sheet.text, false);
    }

    fn ask(&self, sheet: &Sheet, build: &Option<String>, text: &str, passing: bool) {
        let (file, build, text) = (sheet.file.clone(), build.clone(), text.to_string());
        let listing = self.board.field("listing");
        self.answers.ask(Question { file, text, build, passing, listing });
    }

    /// Takes what someone else wrote into the file.
    pub fn look(&self) {
        let mut place = self.lock();
        let Some(sheet) = &mut place.sheet else { return };
        // A file that is being replaced may be missing for a moment; who writes is told.
        if let Ok(true) = sheet.look(self.folder.as_ref()) {
            self.changed(&place);
        }
    }

    /// Accepts what `act` does to the sheet; the number of the text then.
    fn accept(
        &self,
        act: impl FnOnce(&mut Sheet, &dyn Folder) -> Result<(), Refusal>,
    ) -> Result<u64, Refusal> {
        let mut place = self.lock();
        let Some(sheet) = &mut place.sheet else { return Err(problem("", "no design is open")) };
        let before = sheet.revision;
        let done = act(sheet, self.folder.as_ref());
        let after = sheet.revision;
        if after != before {
            self.changed(&place);
        }
        done.map(|()| after)
    }

    /// Accepts a typed text made from the text number `from`; `on` where typing goes on without a pause.
    ///
    /// # Errors
    /// Why it is refused.
    pub(crate) fn write(&self, from: u64, text: &str, on: bool) -> Result<u64, Refused> {
        let step = if on { Step::TypedOn } else { Step::Typed };
        self.accept(|sheet, folder| sheet.accept(folder, from, text, step))
    }

    /// Makes a change to the text number `from`.
    ///
    /// # Errors
    /// Why it is refused.
    pub(crate) fn change(&self, from: u64, change: &Change) -> Result<u64, Refused> {
        self.accept(|sheet, folder| {
            let text = changed(&sheet.file, &sheet.text, change).map_err(Refusal::Problem)?;
            sheet.accept(folder, from, &text, Step::Gesture)
        })
    }

    /// Goes a step back, or forward again.
    ///
    /// # Errors
    /// Why it is refused.
    pub(crate) fn step(&self, from: u64, back: bool) -> Result<u64, Refused> {
        self.accept(|sheet, folder| sheet.step(folder, from, back))
    }

    /// Mends the problem number `number` of the text number `from`.
    ///
    /// # Errors
    /// Why it is refused.
    pub(crate) fn mend(&self, from: u64, number: usize) -> Result<u64, Refused> {
        self.accept(|sheet, folder| {
            let reading = Stated::read(&sheet.file, &sheet.text).on_first_grids().resolve(&self.table);
            let mended = reading.problems.get(number).and_then(|found| repaired(&sheet.text, found));
            let text = mended.ok_or_else(|| problem(&sheet.file, "nothing is to be mended there"))?;
            sheet.accept(folder, from, &text, Step::Gesture)
        })
    }

    /// Takes over the text that the last answer proposes.
    ///
    /// # Errors
    /// Why it is refused.
    pub(crate) fn adopt(&self, from: u64) -> Result<u64, Refused> {
        let proposed = self.lock().proposed.clone();
        self.accept(|sheet, folder| match proposed {
            Some((of, text)) if of == from => sheet.accept(folder, from, &text, Step::Gesture),
            Some(_) => Err(Refusal::Outdated),
            None => Err(problem(&sheet.file, "no answer proposes a change")),
        })
    }

    /// Shows what `change` would do while a gesture lasts; nothing is written.
    ///
    /// # Errors
    /// Why it cannot be made.
    pub(crate) fn pass(&self, change: &Change) -> Result<(), Refused> {
        let place = self.lock();
        let Some(sheet) = &place.sheet else { return Err(problem("", "no design is open")) };
        let text = changed(&sheet.file, &sheet.text, change).map_err(Refusal::Problem)?;
        self.ask(sheet, &place.build, &text, true);
        Ok(())
    }

    /// Names of the known materials.
    pub(crate) fn materials(&self) -> Vec<&str> {
        self.table.names().collect()
    }

    /// Draws the build called `name`.
    pub(crate) fn draw(&self, name: &str) {
        let mut place = self.lock();
        place.build = Some(name.to_string());
        self.changed(&place);
    }

    /// Asks a question about the design.
    pub(crate) fn question(&self, asked: Asked) {
        self.questions.ask(asked);
    }

    /// Asks what changes of a section would do.
    pub(crate) fn effects(&self, wanted: Wanted) {
        self.effects.ask(wanted);
    }

    /// Makes `file` with `text` and puts it on the desk.
    ///
    /// # Errors
    /// Why it cannot be made.
    pub(crate) fn begin(&self, file: &str, text: &str) -> Result<(), Problem> {
        self.folder.create(file, text)?;
        let mut place = self.lock();
        *place = OnDesk { sheet: Some(Sheet::open(file, self.folder.as_ref())?), ..OnDesk::default() };
        self.changed(&place);
        Ok(())
    }

    /// Answers beside the drawing, the newest text first, until the desk is closed.
    pub fn answer(&self) {
        while let Some((number, question)) = self.answers.next() {
            let still = || self.answers.is_last(number);
            let show = |fields| self.board.show_if(still, fields);
            let work = Work { show: &show, stop: &|| !still() };
            match unbroken(|| answer(&question, &self.table, &work)) {
                // What the verdict chose to draw stays in view.
                Some(Some(drawn)) => {
                    self.lock().build.get_or_insert(drawn);
                }
                Some(None) => {}
                None => show(vec![("stage", json!({ "name": "broken" }))]),
            }
        }
    }

    /// Answers questions until the desk is closed.
    pub fn answer_questions(&self) {
        while let Some((number, asked)) = self.questions.next() {
            let Some((file, text, revision)) = self.text() else { continue };
            let still = || self.questions.is_last(number);
            let show = |fields| self.board.show_if(still, fields);
            let work = Work { show: &show, stop: &|| !still() };
            let proposed = unbroken(|| questions::answer(&file, &text, &asked, &self.table, &work));
            if proposed.is_none() {
                show(vec![("question", json!({ "what": asked.what.name(), "html": BROKEN }))]);
            }
            let proposed = proposed.flatten();
            if still() {
                self.lock().proposed = proposed.map(|text| (revision, text));
            }
        }
    }

    /// Tells the effects of changes until the desk is closed.
    pub fn tell_effects(&self) {
        while let Some((number, wanted)) = self.effects.next() {
            let Some((file, text, _)) = self.text() else { continue };
            let still = || self.effects.is_last(number);
            let show = |fields| self.board.show_if(still, fields);
            let work = Work { show: &show, stop: &|| !still() };
            if unbroken(|| tell(&file, &text, &wanted, &self.table, &work)).is_none() {
                show(vec![("effects", Value::Null)]);
            }
        }
    }

    fn text(&self) -> Option<(String, String, u64)> {
        let place = self.lock();
        place.sheet.as_ref().map(|sheet| (sheet.file.clone(), sheet.text.clone(), sheet.revision))
    }

    /// Ends the work of all threads.
    pub fn close(&self) {
        self.answers.close();
        self.questions.close();
        self.effects.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::folder::tests::Shelf;
    use std::time::Duration;
    use stillbed_design::SMALLEST;

    /// What is shown once `done` says so.
    fn shown(desk: &Desk, done: impl Fn(&Value) -> bool) -> Value {
        for _ in 0..600 {
            let all = desk.board.after(0, Duration::ZERO);
            if done(&all) {
                return all;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("it was never shown: {}", desk.board.after(0, Duration::ZERO));
    }

    fn is_done(all: &Value) -> bool {
        all["stage"]["name"] == "done"
    }

    fn at_work(desk: &Desk, act: impl FnOnce(&Desk)) {
        std::thread::scope(|scope| {
            scope.spawn(|| desk.answer());
            scope.spawn(|| desk.answer_questions());
            scope.spawn(|| desk.tell_effects());
            act(desk);
            desk.close();
        });
    }

    fn to(x: f64) -> Change {
        Change::Move { build: "steel".to_string(), point: "tip".to_string(), to: [x, 0.0, 0.0] }
    }

    #[test]
    fn a_thousand_moves_leave_the_last_answer_and_no_queue() {
        let shelf = Shelf::with("a.toml", SMALLEST);
        let desk = Desk::new(Box::new(shelf.clone()), Table::built_in(), Some("a.toml")).unwrap();
        at_work(&desk, |desk| {
            shown(desk, is_done);
            for i in 1..=1000 {
                desk.pass(&to(300.0 + 0.1 * f64::from(i))).unwrap();
            }
            let live = shown(desk, |all| all["live"].is_array());
            // Whatever was shown on the way, the answer that stays is that of the last move: 400 mm in place of
            // 300 mm lower the first frequency of a clamped bar by (3/4)^2.
            let first = |all: &Value| {
                let value = all["live"][0]["value"].as_str().unwrap_or_default().to_string();
                value.split(' ').next().and_then(|number| number.parse::<f64>().ok())
            };
            let expected = 91.8 * (300.0_f64 / 400.0).powi(2);
            let near = |all: &Value| first(all).is_some_and(|f| (f / expected - 1.0).abs() < 0.01);
            shown(desk, near);
            std::thread::sleep(Duration::from_millis(300));
            assert!(near(&desk.board.after(0, Duration::ZERO)), "{live}");
        });
        assert_eq!(shelf.text("a.toml"), SMALLEST, "a passing move writes nothing");
    }

    #[test]
    fn a_change_is_in_the_file_before_it_is_answered_and_can_be_undone() {
        let shelf = Shelf::with("a.toml", SMALLEST);
        let desk = Desk::new(Box::new(shelf.clone()), Table::built_in(), Some("a.toml")).unwrap();
        let number = desk.change(1, &to(310.0)).unwrap();
        assert!(shelf.text("a.toml").contains("310, 0, 0 mm"));
        assert!(matches!(desk.change(1, &to(320.0)), Err(Refusal::Outdated)));
        desk.step(number, true).unwrap();
        assert_eq!(shelf.text("a.toml"), SMALLEST);
        at_work(&desk, |desk| {
            let all = shown(desk, is_done);
            assert_eq!(all["sheet"]["redo"], true);
            assert_eq!(all["listing"]["build"], "steel");
        });
    }

    #[test]
    fn what_is_written_beside_it_appears_and_is_not_written_over() {
        let shelf = Shelf::with("a.toml", SMALLEST);
        let desk = Desk::new(Box::new(shelf.clone()), Table::built_in(), Some("a.toml")).unwrap();
        let theirs = SMALLEST.replace("300, 0, 0 mm", "250, 0, 0 mm");
        assert_ne!(theirs, SMALLEST);
        shelf.put("a.toml", &theirs);
        assert_eq!(desk.change(1, &to(310.0)), Err(Refusal::ChangedOnDisk));
        assert_eq!(shelf.text("a.toml"), theirs);
        shelf.put("a.toml", SMALLEST);
        desk.look();
        assert_eq!(desk.board.after(0, Duration::ZERO)["sheet"]["text"], SMALLEST);
    }

    #[test]
    fn a_fault_of_the_program_is_not_the_end() {
        assert_eq!(unbroken(|| 3), Some(3));
        assert_eq!(unbroken(|| panic!("a fault")), None::<()>);
    }

    #[test]
    fn a_slip_is_mended() {
        let shelf = Shelf::with("a.toml", &SMALLEST.replace("structural steel", "structural stel"));
        let desk = Desk::new(Box::new(shelf.clone()), Table::built_in(), Some("a.toml")).unwrap();
        assert!(matches!(desk.mend(1, 9), Err(Refusal::Problem(_))));
        desk.mend(1, 0).unwrap();
        assert_eq!(shelf.text("a.toml"), SMALLEST);
    }
}
