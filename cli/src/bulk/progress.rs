//! How far a run is, on a terminal.

use std::io::IsTerminal;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

use indicatif::{HumanCount, ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Runs shorter than this show nothing.
const PATIENCE: Duration = Duration::from_millis(700);

/// The line that tells of the run.
pub(crate) struct Progress {
    bar: ProgressBar,
    /// For each batch in its order, how far the input is once it is written.
    places: Receiver<u64>,
    began: Instant,
}

impl Progress {
    /// A line on standard error, where that is a terminal; and where the reader tells for each batch how far the input is with it. What has only been
    /// read ahead is not done.
    pub(crate) fn new(size: Option<u64>) -> (Progress, Sender<u64>) {
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
        let (tell, places) = channel();
        let progress = Progress {
            bar,
            places,
            began: Instant::now(),
        };
        (progress, tell)
    }

    /// Tells that another batch is written, and how many rows are by now.
    pub(crate) fn batch(&self, rows: u64) {
        let place = self.places.try_recv().ok();
        let spent = self.began.elapsed();
        if spent < PATIENCE || !std::io::stderr().is_terminal() {
            return;
        }
        if self.bar.is_hidden() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        let rate = rows as f64 / spent.as_secs_f64();
        self.bar.set_message(format!(
            "{} rows, {} a second",
            HumanCount(rows),
            HumanCount(rate as u64)
        ));
        if let Some(place) = place {
            self.bar.set_position(place);
        }
    }

    /// Takes the line away.
    pub(crate) fn end(&self) {
        self.bar.finish_and_clear();
    }
}
