//! One design under one ruleset: every question is asked here.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use crate::answer::{
    AllBounds, Article, Asked, Figure, Help, Map, MendChange, Mended, Place, Proved, Residual,
    Sheet, Survey, ToldFact, Working, asked, blocks, bounded_facts, bounds, helps, known_facts,
    map, margins, mend, order, prove, required, sheet, survey, told, value, with_box, worked_facts,
    workings,
};
use crate::check::{Departures, Judged, Linked, Outcome, Settings, installation_name, judge};
use crate::design::model::{Design, ObjectId};
use crate::ruleset::{Ruleset, Severity, Stage};
use crate::source::Span;
use crate::vocabulary::{FactIx, Settler};

/// How much a check is to say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ask {
    /// Findings of what is met, too; else most of them are only counted.
    pub met: bool,
    /// Changes that would mend a breach, tried on the whole design.
    pub helps: bool,
}

/// A design, the ruleset that judges it, the stage it has reached, and the day.
#[derive(Clone, Debug)]
pub struct Installation {
    ruleset: Arc<Ruleset>,
    /// As it is written.
    written: Arc<Design>,
    /// As it counts at this stage.
    design: Arc<Design>,
    stage: Stage,
    on: Option<i32>,
    /// Of just this ruleset, design and stage: whoever wants others makes another installation.
    linked: Arc<OnceLock<Residual>>,
    /// The same verdicts, until the first who wants them goes on from there.
    begun: Arc<Mutex<Option<Linked>>>,
}

/// Up to the design stage an article is what is asked of it; from the verify stage on what was
/// asked says nothing of what was fitted.
fn counting(ruleset: &Arc<Ruleset>, design: &Arc<Design>, stage: Stage) -> Arc<Design> {
    let other = if stage >= Stage::Verify {
        design.once_fitted()
    } else {
        with_box(ruleset, design, stage)
    };
    other.map_or_else(|| Arc::clone(design), Arc::new)
}

impl Installation {
    /// Whether all its verdicts take more operations than one design may.
    pub(super) fn is_too_large(&self) -> bool {
        let linked = self.link(true);
        let is = linked.known.is_too_large();
        *self.begun.lock().unwrap_or_else(PoisonError::into_inner) = Some(linked);
        is
    }

    /// All verdicts, linked now if nobody did before; `told`, with what is said of them.
    fn link(&self, told: bool) -> Linked {
        let mut begun = self.begun.lock().unwrap_or_else(PoisonError::into_inner);
        let link = || Linked::new(&self.ruleset, &self.design, self.stage, told, None);
        begun.take().unwrap_or_else(link)
    }

    /// Puts a design under a ruleset.
    #[must_use]
    pub fn new(ruleset: Arc<Ruleset>, design: Arc<Design>, stage: Stage, on: Option<i32>) -> Self {
        let on = on.or(design.newest_date);
        Self {
            design: counting(&ruleset, &design, stage),
            ruleset,
            written: design,
            stage,
            on,
            linked: Arc::default(),
            begun: Arc::default(),
        }
    }

    /// The same at another stage.
    #[must_use]
    pub fn at(&self, stage: Stage) -> Self {
        Self {
            design: counting(&self.ruleset, &self.written, stage),
            stage,
            linked: Arc::default(),
            begun: Arc::default(),
            ..self.clone()
        }
    }

    /// The ruleset.
    #[must_use]
    pub const fn ruleset(&self) -> &Arc<Ruleset> {
        &self.ruleset
    }

    /// The design.
    #[must_use]
    pub const fn design(&self) -> &Arc<Design> {
        &self.design
    }

    /// The stage that it is judged at.
    #[must_use]
    pub const fn stage(&self) -> Stage {
        self.stage
    }

    /// Today, in days since 1970-01-01: as it was given, or else the newest day that the design
    /// mentions.
    #[must_use]
    pub const fn on(&self) -> Option<i32> {
        self.on
    }

    /// What the installation is called.
    #[must_use]
    pub fn name(&self) -> String {
        installation_name(&self.ruleset, &self.design)
    }

    /// Judges every rule that is due.
    #[must_use]
    pub fn check(&self, ask: Ask) -> Judged {
        self.judged(ask, false).0
    }

    /// The same, with what is open as questions, if these are asked for.
    pub(super) fn judged(&self, ask: Ask, questions: bool) -> (Judged, Option<Survey>) {
        let settings = Settings {
            stage: self.stage,
            on: self.on,
            keep_met: ask.met,
            ..Settings::default()
        };
        let (mut judged, linked) = judge(&self.ruleset, &self.design, &settings, self.link(true));
        if self.stage < Stage::Verify {
            judged.report.required = required(&self.ruleset, &self.design);
        }
        let asked = questions.then(|| {
            // Most designs leave nothing open.
            match judged.report.counts.of(Outcome::Undecided) {
                0 => Survey::default(),
                _ => {
                    let residual = Residual::new(&self.ruleset, &self.design, linked);
                    self.surveyed(&residual.pruned())
                }
            }
        });
        if ask.helps {
            self.help(&mut judged);
        }
        (judged, asked)
    }

    /// Puts changes that were tried before what a rule says in general.
    fn help(&self, judged: &mut Judged) {
        let breach = |f: &&mut crate::check::Finding| {
            f.outcome == Outcome::Failed && f.severity == Severity::Breach
        };
        let mut failing: Vec<_> = judged.report.findings.iter_mut().filter(breach).collect();
        let breaches: Vec<(String, ObjectId)> = failing
            .iter()
            .map(|f| (f.rule.clone(), f.subject.id))
            .collect();
        let found = self.helps(&breaches, &|_| String::new());
        for (finding, tried) in failing.iter_mut().zip(found) {
            finding.help.splice(0..0, tried.into_iter().map(|h| h.text));
        }
    }

    /// For each of some breaches, a rule and its subject each, single changes that would mend it,
    /// tried on the whole design; `text` gives the text of a place.
    #[must_use]
    pub fn helps(
        &self,
        breaches: &[(String, ObjectId)],
        text: &dyn Fn(Span) -> String,
    ) -> Vec<Vec<Help>> {
        helps(&self.ruleset, &self.design, self.stage, breaches, text)
    }

    /// How far the facts that may turn out otherwise can go.
    #[must_use]
    pub fn margins(&self) -> AllBounds {
        margins(&self.ruleset, &self.design, self.stage)
    }

    /// The written quantities and choices with some names; all of them, if none is named.
    #[must_use]
    pub fn bounded_facts(&self, names: &[String]) -> Vec<Place> {
        bounded_facts(&self.ruleset, &self.design, names)
    }

    /// How far some facts can go before a verdict changes.
    #[must_use]
    pub fn bounds(&self, facts: &[Place]) -> AllBounds {
        bounds(&self.ruleset, &self.design, facts, self.stage)
    }

    /// All verdicts with every fact as it is written: linked once for every answer that reads
    /// them.
    #[must_use]
    pub fn residual(&self) -> &Residual {
        let link = || Residual::new(&self.ruleset, &self.design, self.link(false));
        self.linked.get_or_init(link)
    }

    /// The fewest changes after which nothing is in breach; `text` gives the text of a place.
    #[must_use]
    pub fn mend(&self, text: &dyn Fn(Span) -> String) -> Mended {
        mend(&self.ruleset, &self.design, self.stage, self.on, text)
    }

    /// The blocks of the ruleset's stock, as changes that would add each of them.
    #[must_use]
    pub fn blocks(&self) -> Vec<MendChange> {
        blocks(&self.ruleset, &self.design)
    }

    /// What is still unknown and matters.
    #[must_use]
    pub fn survey(&self) -> Survey {
        self.surveyed(self.residual())
    }

    fn surveyed(&self, residual: &Residual) -> Survey {
        survey(
            residual,
            &Departures::new(&self.ruleset, &self.design, self.on),
        )
    }

    /// The questions of a survey as they are put to a person, in the order of a visit.
    #[must_use]
    pub fn asked(&self, survey: &Survey) -> Vec<Asked> {
        asked(&self.ruleset, &self.design, survey)
    }

    /// What is known already: object, fact and value.
    #[must_use]
    pub fn known_facts(&self) -> Vec<(String, String, String)> {
        known_facts(&self.ruleset, &self.design)
    }

    /// Which part of a template's parameter ranges passes, by at most so many boxes a rule.
    #[must_use]
    pub fn prove(&self, boxes: u32) -> Proved {
        let departures = Departures::new(&self.ruleset, &self.design, self.on);
        prove(self.residual(), &departures, boxes)
    }

    /// What was proved, over two parameters by their indices, in columns and rows of cells.
    #[must_use]
    pub fn map(&self, proved: &Proved, axes: (usize, usize), cells: (usize, usize)) -> Map {
        map(self.residual(), proved, axes, cells)
    }

    /// What is to be built, tightened and read.
    #[must_use]
    pub fn sheet(&self) -> Sheet {
        sheet(&self.ruleset, &self.design)
    }

    /// What is to be bought, like things together.
    #[must_use]
    pub fn order(&self) -> Vec<Article> {
        order(&self.ruleset, &self.design)
    }

    /// What one who settles facts is told of the design.
    #[must_use]
    pub fn told(&self, settler: Settler) -> Vec<ToldFact> {
        told(&self.ruleset, &self.design, settler)
    }

    /// The calculated facts with a name (`Zs`, `main.ev.Zs`); the key figures without one.
    #[must_use]
    pub fn worked_facts(&self, name: Option<&str>) -> Vec<(ObjectId, FactIx)> {
        worked_facts(&self.ruleset, &self.design, name)
    }

    /// The calculation of a fact, line by line.
    #[must_use]
    pub fn working(&self, object: ObjectId, fact: FactIx) -> Working {
        self.workings(&[(object, fact)]).remove(0)
    }

    /// The calculations of some facts, line by line.
    #[must_use]
    pub fn workings(&self, facts: &[(ObjectId, FactIx)]) -> Vec<Working> {
        workings(&self.ruleset, &self.design, facts)
    }

    /// The value of a fact of an object, `("ev", "Zs", None)`; nothing, where there is no such
    /// object, fact or number. A line conductor is 0, 1 or 2.
    #[must_use]
    pub fn value(&self, object: &str, fact: &str, line: Option<u8>) -> Option<Figure> {
        value(&self.ruleset, &self.design, object, fact, line)
    }
}
