//! The text of the design as it stands in its file, with undo as far as the session goes.
//!
//! The file is the truth: a text is accepted when it is in the file. It is refused where the file was changed by
//! someone else meanwhile; then theirs is taken, and the earlier text stays within reach of undo.

use crate::folder::Folder;
use stillbed_design::edit;
use stillbed_input::problem::{Place, Problem};

/// Largest text that is accepted, bytes.
pub const LARGEST: usize = 4 << 20;

/// The text of one file.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// The name of the file in its folder.
    pub file: String,
    /// Its text.
    pub text: String,
    /// Number of the text; each accepted or adopted one has the next.
    pub revision: u64,
    past: Vec<String>,
    future: Vec<String>,
    /// True while further typing joins the last step of undo.
    typing: bool,
}

/// How a text came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// By a gesture.
    Gesture,
    /// By typing, after a pause.
    Typed,
    /// By typing on; it joins what was typed before into one step of undo.
    TypedOn,
}

/// Why a text was not accepted.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// It was made from an earlier text than the one that stands now.
    Outdated,
    /// The file was changed by someone else; theirs now stands.
    ChangedOnDisk,
    /// It is not TOML, or the file cannot be written.
    Problem(Problem),
}

impl Sheet {
    /// The text of `file` as it is read.
    ///
    /// # Errors
    /// A file that cannot be read.
    pub fn open(file: &str, folder: &dyn Folder) -> Result<Sheet, Problem> {
        let text = folder.read(file)?;
        let (past, future) = (Vec::new(), Vec::new());
        Ok(Sheet { file: file.to_string(), text, revision: 1, past, future, typing: false })
    }

    /// Takes what stands in the file, if that is not the text; true if it was not.
    ///
    /// # Errors
    /// A file that cannot be read.
    pub fn look(&mut self, folder: &dyn Folder) -> Result<bool, Problem> {
        let found = folder.read(&self.file)?;
        if found == self.text {
            return Ok(false);
        }
        self.past.push(std::mem::replace(&mut self.text, found));
        self.future.clear();
        self.typing = false;
        self.revision += 1;
        Ok(true)
    }

    /// Accepts `text`, made from the text number `from`: it is in the file when this returns.
    ///
    /// # Errors
    /// Why it is refused; the file is then as it was.
    pub fn accept(&mut self, folder: &dyn Folder, from: u64, text: &str, step: Step) -> Result<(), Refusal> {
        self.may_write(folder, from)?;
        if text.len() > LARGEST {
            let message = format!("{} bytes are more than a design has", text.len());
            let problem = Problem::error(Place::file(&self.file), message);
            return Err(Refusal::Problem(problem.with_help(format!("at most {LARGEST} bytes"))));
        }
        edit::editable(&self.file, text).map_err(Refusal::Problem)?;
        if text == self.text {
            return Ok(());
        }
        folder.write(&self.file, text).map_err(Refusal::Problem)?;
        let before = std::mem::replace(&mut self.text, text.to_string());
        if !(step == Step::TypedOn && self.typing) {
            self.past.push(before);
        }
        self.future.clear();
        self.typing = step != Step::Gesture;
        self.revision += 1;
        Ok(())
    }

    /// Puts the text before the last step back into the file, or forward again.
    ///
    /// # Errors
    /// As [`Sheet::accept`]; nothing is done where there is no further step.
    pub fn step(&mut self, folder: &dyn Folder, from: u64, back: bool) -> Result<(), Refusal> {
        self.may_write(folder, from)?;
        let (taken, given) =
            if back { (&mut self.past, &mut self.future) } else { (&mut self.future, &mut self.past) };
        let Some(text) = taken.pop() else { return Ok(()) };
        if let Err(problem) = folder.write(&self.file, &text) {
            taken.push(text);
            return Err(Refusal::Problem(problem));
        }
        given.push(std::mem::replace(&mut self.text, text));
        self.typing = false;
        self.revision += 1;
        Ok(())
    }

    /// True where there is a step to undo, and where there is one to do again.
    pub fn steps(&self) -> [bool; 2] {
        [!self.past.is_empty(), !self.future.is_empty()]
    }

    fn may_write(&mut self, folder: &dyn Folder, from: u64) -> Result<(), Refusal> {
        if self.look(folder).map_err(Refusal::Problem)? {
            return Err(Refusal::ChangedOnDisk);
        }
        if from == self.revision { Ok(()) } else { Err(Refusal::Outdated) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::folder::tests::Shelf;

    fn opened(text: &str) -> (Shelf, Sheet) {
        let shelf = Shelf::with("a.toml", text);
        let sheet = Sheet::open("a.toml", &shelf).unwrap();
        (shelf, sheet)
    }

    #[test]
    fn what_is_accepted_is_in_the_file_and_can_be_undone_and_done_again() {
        let (shelf, mut sheet) = opened("a = 1\n");
        sheet.accept(&shelf, 1, "a = 2\n", Step::Gesture).unwrap();
        assert_eq!(shelf.text("a.toml"), "a = 2\n");
        sheet.accept(&shelf, 2, "a = 3\n", Step::Gesture).unwrap();
        sheet.step(&shelf, 3, true).unwrap();
        sheet.step(&shelf, 4, true).unwrap();
        assert_eq!((shelf.text("a.toml").as_str(), sheet.steps()), ("a = 1\n", [false, true]));
        sheet.step(&shelf, 5, true).unwrap();
        assert_eq!(sheet.revision, 5, "there is nothing before the first text");
        sheet.step(&shelf, 5, false).unwrap();
        assert_eq!(shelf.text("a.toml"), "a = 2\n");
        sheet.accept(&shelf, 6, "a = 9\n", Step::Gesture).unwrap();
        assert_eq!(sheet.steps(), [true, false], "a new text ends what could be done again");
    }

    #[test]
    fn typing_is_one_step() {
        let (shelf, mut sheet) = opened("a = 1\n");
        for (i, text) in ["a = 12\n", "a = 123\n", "a = 1234\n"].into_iter().enumerate() {
            sheet.accept(&shelf, i as u64 + 1, text, Step::TypedOn).unwrap();
        }
        sheet.step(&shelf, 4, true).unwrap();
        assert_eq!(shelf.text("a.toml"), "a = 1\n");
    }

    #[test]
    fn nothing_is_written_over_what_someone_else_wrote() {
        let (shelf, mut sheet) = opened("a = 1\n");
        shelf.put("a.toml", "a = 7 # theirs\n");
        assert_eq!(sheet.accept(&shelf, 1, "a = 2\n", Step::Gesture), Err(Refusal::ChangedOnDisk));
        assert_eq!(shelf.text("a.toml"), "a = 7 # theirs\n");
        assert_eq!((sheet.text.as_str(), sheet.revision), ("a = 7 # theirs\n", 2));
        assert_eq!(sheet.accept(&shelf, 1, "a = 2\n", Step::Gesture), Err(Refusal::Outdated));
        shelf.put("a.toml", "a = 8\n");
        assert_eq!(sheet.step(&shelf, 2, true), Err(Refusal::ChangedOnDisk));
        sheet.step(&shelf, 3, true).unwrap();
        assert_eq!(shelf.text("a.toml"), "a = 7 # theirs\n");
    }

    #[test]
    fn what_is_no_toml_or_cannot_be_written_changes_nothing() {
        let (shelf, mut sheet) = opened("a = 1\n");
        assert!(matches!(sheet.accept(&shelf, 1, "a = = 2\n", Step::Gesture), Err(Refusal::Problem(_))));
        assert!(matches!(
            sheet.accept(&shelf, 1, &"#".repeat(LARGEST + 1), Step::Gesture),
            Err(Refusal::Problem(_))
        ));
        shelf.refuse();
        assert!(matches!(sheet.accept(&shelf, 1, "a = 2\n", Step::Gesture), Err(Refusal::Problem(_))));
        assert_eq!((sheet.text.as_str(), sheet.revision, sheet.steps()), ("a = 1\n", 1, [false, false]));
    }
}
