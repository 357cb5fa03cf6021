//! Processor time used by this program.

/// Seconds, in steps of the kernel's clock tick of 0.01 s; `None` if the system does not report it.
pub fn processor() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // After the name in brackets comes field 3.
    let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks: f64 = fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?;
    Some(ticks / 100.0)
}

/// Speed-up of `act` on two threads over one in wall time; the better of two runs each.
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
