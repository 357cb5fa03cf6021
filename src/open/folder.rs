//! The folder of the design, as the caller reads and writes it.

use stillbed_input::problem::Problem;

/// The folder of the design. Names have no path in them.
pub trait Folder: Send + Sync {
    /// The text of a file.
    ///
    /// # Errors
    /// Why it cannot be read.
    fn read(&self, file: &str) -> Result<String, Problem>;

    /// Replaces a file, whole or not at all.
    ///
    /// # Errors
    /// Why it cannot be written; it is then as it was.
    fn write(&self, file: &str, text: &str) -> Result<(), Problem>;

    /// Makes a new file.
    ///
    /// # Errors
    /// Why it cannot be made, such as that it is there already.
    fn create(&self, file: &str, text: &str) -> Result<(), Problem>;
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use std::collections::BTreeMap;
    use std::sync::{Arc, Mutex};
    use stillbed_input::problem::Place;

    /// A folder in memory.
    #[derive(Clone, Default)]
    pub struct Shelf(Arc<Mutex<(BTreeMap<String, String>, bool)>>);

    impl Shelf {
        pub fn with(file: &str, text: &str) -> Shelf {
            let shelf = Shelf::default();
            shelf.put(file, text);
            shelf
        }

        pub fn put(&self, file: &str, text: &str) {
            self.0.lock().unwrap().0.insert(file.to_string(), text.to_string());
        }

        pub fn text(&self, file: &str) -> String {
            self.0.lock().unwrap().0[file].clone()
        }

        /// Refuses whatever is written from now on.
        pub fn refuse(&self) {
            self.0.lock().unwrap().1 = true;
        }
    }

    impl Folder for Shelf {
        fn read(&self, file: &str) -> Result<String, Problem> {
            let missing = || Problem::error(Place::file(file), "no such file");
            self.0.lock().unwrap().0.get(file).cloned().ok_or_else(missing)
        }

        fn write(&self, file: &str, text: &str) -> Result<(), Problem> {
            if self.0.lock().unwrap().1 {
                return Err(Problem::error(Place::file(file), "the disk is full"));
            }
            self.put(file, text);
            Ok(())
        }

        fn create(&self, file: &str, text: &str) -> Result<(), Problem> {
            match self.read(file) {
                Ok(_) => Err(Problem::error(Place::file(file), "the file is there already")),
                Err(_) => self.write(file, text),
            }
        }
    }
}
