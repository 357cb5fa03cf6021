//! Threads that solve solids and nothing else.
//!
//! A thread of the common pool that waits for parts of its own work is lent to other work meanwhile, and could meet work
//! that waits for it: two draws that ask for the same body. So whoever wants a solid waits without being lent, and
//! others solve it.

use rayon::{ThreadPool, ThreadPoolBuilder};
use std::panic::resume_unwind;
use std::sync::{LazyLock, Mutex, PoisonError};
use std::thread;

static SOLVERS: LazyLock<Option<ThreadPool>> = LazyLock::new(|| ThreadPoolBuilder::new().build().ok());

/// Held while they solve a large one: one at a time with all threads, since each takes much memory.
static SOLVING: Mutex<()> = Mutex::new(());

/// What `act` gives on the threads that solve solids; alone where it is `large`. `act` asks for nothing that somebody
/// else may be solving.
pub fn apart<T: Send>(large: bool, act: impl FnOnce() -> T + Send) -> T {
    let _alone = large.then(|| SOLVING.lock().unwrap_or_else(PoisonError::into_inner));
    let Some(solvers) = SOLVERS.as_ref() else { return act() };
    // A thread of no pool, which is not lent while it waits.
    let answer = thread::scope(|scope| scope.spawn(|| solvers.install(act)).join());
    answer.unwrap_or_else(|panic| resume_unwind(panic))
}
