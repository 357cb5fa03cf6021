//! Time that this program has had on processors.

/// Seconds, by the kernel's hundredths; `None` where the system does not tell.
pub fn processor() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // Past the name in brackets the fields count from the third.
    let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks: f64 = fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?;
    Some(ticks / 100.0)
}

/// How many times as fast `act` is on two threads as on one, by the clock; the better of two of each.
pub fn two_threads_against_one(act: impl Fn() + Sync) -> f64 {
    let seconds = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let pool = pool.unwrap_or_else(|fault| panic!("no threads: {fault}"));
        let once = || {
            let begun = std::time::Instant::now();
            pool.install(&act);
            begun.elapsed().as_secs_f64()
        };
        once().min(once())
    };
    let one = seconds(1);
    one / seconds(2)
}
