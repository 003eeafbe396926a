//! How far a run is, on a terminal.

use std::io::IsTerminal;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use indicatif::{HumanCount, ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Runs shorter than this show nothing.
const PATIENCE: Duration = Duration::from_millis(700);

/// The line that tells of the run.
pub(crate) struct Progress {
    bar: ProgressBar,
    /// How much of the input has been read.
    read: Arc<AtomicU64>,
    began: Instant,
}

impl Progress {
    /// A line on standard error, where that is a terminal.
    pub(crate) fn new(size: Option<u64>, read: Arc<AtomicU64>) -> Progress {
        let bar = ProgressBar::with_draw_target(size, ProgressDrawTarget::hidden());
        if std::io::stderr().is_terminal() {
            let form = match size {
                Some(_) => "{bar:30} {percent}%  {msg}  {eta} left",
                None => "{spinner} {msg}",
            };
            if let Ok(style) = ProgressStyle::with_template(form) {
                bar.set_style(style);
            }
        }
        Progress {
            bar,
            read,
            began: Instant::now(),
        }
    }

    /// Tells how many rows are written.
    pub(crate) fn rows(&self, rows: u64) {
        let spent = self.began.elapsed();
        if spent < PATIENCE || !std::io::stderr().is_terminal() {
            return;
        }
        if self.bar.is_hidden() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        self.bar.set_position(self.read.load(Ordering::Relaxed));
        let rate = rows as f64 / spent.as_secs_f64();
        self.bar.set_message(format!(
            "{} rows, {} a second",
            HumanCount(rows),
            HumanCount(rate as u64)
        ));
    }

    /// Takes the line away.
    pub(crate) fn end(&self) {
        self.bar.finish_and_clear();
    }
}
