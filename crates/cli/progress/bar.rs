//! The bar.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::world;

/// Work shorter than this is not worth a bar (judgement, no source).
const PATIENCE: Duration = Duration::from_secs(1);

/// The bar on screen, so that messages can step around it.
static SHOWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// How far a piece of work is. Ends, and is gone from the screen, when dropped.
pub struct Progress {
    /// None where nobody would see it.
    watch: Option<Watch>,
}

struct Watch {
    began: Instant,
    what: String,
    unit: Unit,
    total: Option<u64>,
    done: u64,
    bar: Option<ProgressBar>,
}

/// What is counted.
#[derive(Clone, Copy)]
enum Unit {
    Bytes,
    Rows,
    /// Nothing: that the work goes on is all there is to say.
    Time,
}

impl Progress {
    /// Bytes done, of how many if that is known.
    pub fn of_bytes(what: &str, total: Option<u64>) -> Progress {
        Progress::new(what, Unit::Bytes, total)
    }

    /// Rows done, of how many.
    pub fn of_rows(what: &str, total: usize) -> Progress {
        Progress::new(what, Unit::Rows, Some(total as u64))
    }

    fn new(what: &str, unit: Unit, total: Option<u64>) -> Progress {
        let watch = world::errors_are_watched().then(|| Watch {
            began: Instant::now(),
            what: crate::screen::plain(what),
            unit,
            total,
            done: 0,
            bar: None,
        });
        Progress { watch }
    }

    /// So much more is done. Cheap; but a row at a time costs a clock.
    pub fn add(&mut self, more: u64) {
        let Some(watch) = &mut self.watch else { return };
        watch.done += more;
        if watch.bar.is_none() && watch.began.elapsed() >= PATIENCE {
            watch.bar = Some(watch.show());
        }
        if let Some(bar) = &watch.bar {
            bar.set_position(watch.done);
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = self.watch.as_mut().and_then(|watch| watch.bar.take()) {
            *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = None;
            bar.finish_and_clear();
        }
    }
}

impl Watch {
    fn show(&self) -> ProgressBar {
        let counted = match (self.unit, self.total) {
            (Unit::Bytes, Some(_)) => "{wide_bar} {bytes} of {total_bytes}, {eta} left",
            (Unit::Bytes, None) => "{bytes}",
            (Unit::Rows, _) => "{wide_bar} {human_pos} of {human_len} rows, {eta} left",
            (Unit::Time, _) => "{elapsed}",
        };
        let style = ProgressStyle::with_template(&format!("{{msg}}  {counted}"))
            .unwrap_or_else(|_| ProgressStyle::default_bar())
            .progress_chars("█░░");
        let target = ProgressDrawTarget::stderr();
        let bar = ProgressBar::with_draw_target(self.total, target).with_style(style);
        let bar = bar.with_message(self.what.clone()).with_elapsed(self.began.elapsed());
        *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = Some(bar.clone());
        bar
    }
}

/// Prints something while the bar, if there is one, stands aside.
pub fn aside<T>(print: impl FnOnce() -> T) -> T {
    let shown = SHOWN.lock().unwrap_or_else(PoisonError::into_inner).clone();
    match shown {
        Some(bar) => bar.suspend(print),
        None => print(),
    }
}

/// Does work whose parts nobody counts, and shows that it goes on.
pub fn during<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let progress = Progress::new(what, Unit::Time, None);
    let Some(watch) = &progress.watch else { return work() };
    let (done, waits) = std::sync::mpsc::channel::<()>();
    std::thread::scope(|scope| {
        scope.spawn(move || {
            let ended =
                |wait| waits.recv_timeout(wait) != Err(std::sync::mpsc::RecvTimeoutError::Timeout);
            if ended(PATIENCE) {
                return;
            }
            let bar = watch.show();
            while !ended(PATIENCE / 4) {
                bar.tick();
            }
            *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = None;
            bar.finish_and_clear();
        });
        let result = work();
        drop(done);
        result
    })
}
