//! A queue that holds the last question alone: a new one takes the place of one that waits, and who answers an older
//! one is told to stop.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Condvar, Mutex, PoisonError};

/// A queue of length one; the newest question wins.
#[derive(Debug)]
pub struct Newest<T> {
    waiting: Mutex<Waiting<T>>,
    arrived: Condvar,
    /// Number of the last question.
    last: AtomicU64,
}

#[derive(Debug)]
struct Waiting<T> {
    question: Option<(u64, T)>,
    closed: bool,
}

impl<T> Default for Newest<T> {
    fn default() -> Newest<T> {
        let waiting = Mutex::new(Waiting { question: None, closed: false });
        Newest { waiting, arrived: Condvar::new(), last: AtomicU64::new(0) }
    }
}

impl<T> Newest<T> {
    /// Asks `question` in place of all earlier ones.
    pub fn ask(&self, question: T) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        let number = self.last.fetch_add(1, Ordering::SeqCst) + 1;
        waiting.question = Some((number, question));
        self.arrived.notify_one();
    }

    /// Takes the question that waits, with its number; waits for one. `None` once the queue is closed.
    pub fn next(&self) -> Option<(u64, T)> {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            if waiting.closed {
                return None;
            }
            if let Some(question) = waiting.question.take() {
                return Some(question);
            }
            waiting = self.arrived.wait(waiting).unwrap_or_else(PoisonError::into_inner);
        }
    }

    /// True while no later question than that of this number was asked.
    pub fn is_last(&self, number: u64) -> bool {
        self.last.load(Ordering::SeqCst) == number
    }

    /// Drops what is asked and waits.
    pub fn forget(&self) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        self.last.fetch_add(1, Ordering::SeqCst);
        waiting.question = None;
    }

    /// Ends the work of everyone who waits for a question.
    pub fn close(&self) {
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        self.last.fetch_add(1, Ordering::SeqCst);
        waiting.closed = true;
        self.arrived.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thousand_moves_leave_the_last_and_no_queue() {
        let queue = Newest::default();
        queue.ask(0);
        let (first, move_) = queue.next().unwrap();
        assert!(move_ == 0 && queue.is_last(first));
        for move_ in 1..=1000 {
            queue.ask(move_);
            assert!(!queue.is_last(first));
        }
        let (last, move_) = queue.next().unwrap();
        assert!(move_ == 1000 && queue.is_last(last));
        queue.close();
        assert_eq!(queue.next(), None);
        assert!(!queue.is_last(last));
    }

    #[test]
    fn who_waits_is_woken_and_ends_when_it_closes() {
        let queue = Newest::default();
        std::thread::scope(|scope| {
            let worker = scope.spawn(|| {
                let mut seen = Vec::new();
                while let Some((_, question)) = queue.next() {
                    seen.push(question);
                    if question == 3 {
                        queue.close();
                    }
                }
                seen
            });
            (1..=3).for_each(|question| queue.ask(question));
            let seen = worker.join().unwrap();
            assert_eq!(seen.last(), Some(&3));
            assert!(seen.is_sorted());
        });
    }

    #[test]
    fn what_is_forgotten_is_not_answered() {
        let queue = Newest::default();
        queue.ask("size");
        queue.forget();
        queue.ask("pour");
        assert_eq!(queue.next().map(|(_, question)| question), Some("pour"));
    }
}
