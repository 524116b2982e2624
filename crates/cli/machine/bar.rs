//! A bar on standard error while long work goes on: only on a terminal, only
//! after a second, and out of the way of whatever else is printed.

use std::io::{self, IsTerminal};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Mutex, PoisonError};
use std::thread::{JoinHandle, spawn};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use holdover_desk::host::{Bar, Unit};
use holdover_desk::plain::plain;

/// Work shorter than this is not worth a bar (judgement, no source).
const PATIENCE: Duration = Duration::from_secs(1);

/// The bar on screen, so that messages can step around it.
static SHOWN: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// A bar, if someone watches standard error.
pub fn new(what: &str, unit: Unit, total: Option<u64>) -> Option<Box<dyn Bar>> {
    if !io::stderr().is_terminal() {
        return None;
    }
    let look = Look { began: Instant::now(), what: plain(what), unit, total };
    Some(match unit {
        Unit::Bytes | Unit::Rows => Box::new(Counting { look, done: 0, bar: None }),
        Unit::Time => Box::new(Ticking::new(look)),
    })
}

/// What a bar looks like.
struct Look {
    began: Instant,
    what: String,
    unit: Unit,
    total: Option<u64>,
}

impl Look {
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

fn clear(bar: &ProgressBar) {
    *SHOWN.lock().unwrap_or_else(PoisonError::into_inner) = None;
    bar.finish_and_clear();
}

/// Moves when it is told how much is done.
struct Counting {
    look: Look,
    done: u64,
    bar: Option<ProgressBar>,
}

impl Bar for Counting {
    fn add(&mut self, more: u64) {
        self.done += more;
        if self.bar.is_none() && self.look.began.elapsed() >= PATIENCE {
            self.bar = Some(self.look.show());
        }
        if let Some(bar) = &self.bar {
            bar.set_position(self.done);
        }
    }
}

impl Drop for Counting {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            clear(bar);
        }
    }
}

/// Moves by itself, in a thread of its own.
struct Ticking {
    /// The thread ends when this is gone.
    done: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Ticking {
    fn new(look: Look) -> Ticking {
        let (done, waits) = channel::<()>();
        let ended = move |wait| waits.recv_timeout(wait) != Err(RecvTimeoutError::Timeout);
        let thread = spawn(move || {
            if ended(PATIENCE) {
                return;
            }
            let bar = look.show();
            while !ended(PATIENCE / 4) {
                bar.tick();
            }
            clear(&bar);
        });
        Ticking { done: Some(done), thread: Some(thread) }
    }
}

impl Bar for Ticking {
    fn add(&mut self, _: u64) {}
}

impl Drop for Ticking {
    fn drop(&mut self) {
        self.done = None;
        self.thread.take().into_iter().for_each(|thread| _ = thread.join());
    }
}

/// Prints with the bar out of the way.
pub fn aside<T>(print: impl FnOnce() -> T) -> T {
    let shown = SHOWN.lock().unwrap_or_else(PoisonError::into_inner).clone();
    match shown {
        Some(bar) => bar.suspend(print),
        None => print(),
    }
}
