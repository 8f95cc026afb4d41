//! Checks beside the conversation: what takes longer than an answer may wait runs on threads of its
//! own, and of each design only the newest text is looked at.

use std::collections::BTreeMap;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::thread;

use crossbeam_channel::{Receiver, Sender, unbounded};

use crate::answer::{AllBounds, Help};
use crate::check::Outcome;
use crate::design::model::ObjectId;
use crate::ruleset::Severity;
use crate::session::{Ask, Checked, Loaded, Mending, Options, Project};

/// A design to be looked at.
pub(super) struct Job {
    /// Its path.
    pub(super) root: PathBuf,
    pub(super) loaded: Arc<Loaded>,
    /// The texts that it was opened from, to judge mended ones beside.
    pub(super) project: Project,
    pub(super) options: Options,
}

/// What a look at a design gave.
pub(super) enum Told {
    Checked(Checked),
    /// Changes that were tried, for each breach: a rule and its subject.
    Helps(Vec<((String, ObjectId), Vec<Help>)>),
    Mends(Mending),
    Bounds(AllBounds),
    /// Something in the program failed.
    Fault(String),
}

/// An answer, and the design it is about as it was opened.
pub(super) struct News {
    pub(super) root: PathBuf,
    pub(super) loaded: Arc<Loaded>,
    pub(super) told: Told,
}

/// Two threads: one that checks, and one for what may take long.
pub(super) struct Checker {
    check: Sender<Job>,
    study: Sender<Job>,
    /// What they found.
    pub(super) news: Receiver<News>,
}

impl Checker {
    /// Starts the threads; they end with this.
    ///
    /// # Errors
    /// The system gives none.
    pub(super) fn start() -> io::Result<Self> {
        let (tell, news) = unbounded();
        Ok(Self {
            check: thread("check", tell.clone(), check)?,
            study: thread("study", tell, study)?,
            news,
        })
    }

    /// Checks a design.
    pub(super) fn check(&self, job: Job) {
        // Without the thread, which only ends with this, there is nobody to tell.
        let _ = self.check.send(job);
    }

    /// Looks for mends and bounds of a design that was checked.
    pub(super) fn study(&self, job: Job) {
        let _ = self.study.send(job);
    }
}

/// What a thread does with a job; it stops between two steps when there is a newer one.
type Work = fn(&Job, &mut dyn FnMut(Told) -> bool);

fn thread(name: &str, tell: Sender<News>, work: Work) -> io::Result<Sender<Job>> {
    let (sender, jobs) = unbounded::<Job>();
    let run = move || {
        let mut waiting: BTreeMap<PathBuf, Job> = BTreeMap::new();
        loop {
            if waiting.is_empty() {
                match jobs.recv() {
                    Ok(job) => waiting.insert(job.root.clone(), job),
                    Err(_) => return,
                };
            }
            waiting.extend(jobs.try_iter().map(|job| (job.root.clone(), job)));
            let Some((_, job)) = waiting.pop_first() else {
                continue;
            };
            let news = |told| News {
                root: job.root.clone(),
                loaded: Arc::clone(&job.loaded),
                told,
            };
            let mut step = |told| tell.send(news(told)).is_ok() && jobs.is_empty();
            let done = catch_unwind(AssertUnwindSafe(|| work(&job, &mut step)));
            if let Err(fault) = done {
                let fault = Told::Fault(said(fault.as_ref()).to_owned());
                if tell.send(news(fault)).is_err() {
                    return;
                }
            }
        }
    };
    thread::Builder::new().name(name.to_owned()).spawn(run)?;
    Ok(sender)
}

/// What a panic says.
pub(super) fn said(fault: &(dyn std::any::Any + Send)) -> &str {
    let owned = fault.downcast_ref::<String>().map(String::as_str);
    owned
        .or_else(|| fault.downcast_ref::<&str>().copied())
        .unwrap_or("no reason is known")
}

fn check(job: &Job, tell: &mut dyn FnMut(Told) -> bool) {
    let ask = Ask {
        met: false,
        helps: false,
    };
    tell(Told::Checked(job.loaded.check(ask)));
}

fn study(job: &Job, tell: &mut dyn FnMut(Told) -> bool) {
    let Some(of) = job.loaded.sound() else { return };
    let (project, loaded, options) = (&job.project, &job.loaded, &job.options);
    let report = of.check(Ask::default()).report;
    let breach =
        |f: &&crate::check::Finding| f.outcome == Outcome::Failed && f.severity == Severity::Breach;
    let breaches = report.findings.iter().filter(breach);
    let breaches: Vec<_> = breaches.map(|f| (f.rule.clone(), f.subject.id)).collect();
    let text = |span| loaded.sources.slice(span).to_owned();
    let helps = of.helps(&breaches, &text);
    if !tell(Told::Helps(breaches.into_iter().zip(helps).collect())) {
        return;
    }
    // Without an alternative that is asked for there is nothing to refuse.
    if let Ok(mending) = Mending::new(project, loaded, of, options, &[])
        && !tell(Told::Mends(mending))
    {
        return;
    }
    tell(Told::Bounds(of.bounds(&of.bounded_facts(&[]))));
}
