//! How far something is, on a terminal and only if it takes over a second; elsewhere nothing.

use std::thread;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// What is over sooner needs no progress.
const AFTER: Duration = Duration::from_secs(1);
const TICK: Duration = Duration::from_millis(120);

/// A line on standard error that goes when this is dropped.
pub(super) struct Progress(ProgressBar);

impl Progress {
    /// Of so many things, each told by [`Progress::one_more`].
    pub(super) fn of(total: usize, what: &'static str) -> Self {
        let bar = ProgressBar::with_draw_target(Some(total as u64), ProgressDrawTarget::hidden());
        Self::shown(bar, "{bar:40} {pos} of {len} {msg}, {eta} left", what)
    }

    /// Of what nobody can tell how long it takes.
    pub(super) fn during(what: &'static str) -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        Self::shown(bar, "{spinner} {msg}, {elapsed}", what)
    }

    fn shown(bar: ProgressBar, template: &str, what: &'static str) -> Self {
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        bar.set_message(what);
        let later = bar.downgrade();
        thread::spawn(move || {
            thread::sleep(AFTER);
            if let Some(bar) = later.upgrade()
                && !bar.is_finished()
            {
                bar.set_draw_target(ProgressDrawTarget::stderr());
                bar.enable_steady_tick(TICK);
            }
        });
        Self(bar)
    }

    pub(super) fn one_more(&self) {
        self.0.inc(1);
    }

    /// Takes the line away while something is printed.
    pub(super) fn aside<R>(&self, print: impl FnOnce() -> R) -> R {
        self.0.suspend(print)
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
