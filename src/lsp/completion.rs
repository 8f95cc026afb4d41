//! What can be written at a place: what is missing first.

use std::collections::BTreeSet;

use gen_lsp_types::{
    CompletionItem, CompletionItemKind as Icon, CompletionParams, CompletionResponse, Documentation,
};

use super::client::Part;
use super::context::{Context, Inside, judged, object_at, opened};
use super::rulesets;
use super::state::{Found, State, View};
use crate::design::cursor::Standing;
use crate::design::model::ObjectId;
use crate::design::tree::{Item, Origin};
use crate::quantity::Unit;
use crate::report::words;
use crate::ruleset::Ruleset;
use crate::source::FileId;
use crate::vocabulary::{FactIx, FactType, Kind, KindId, LINES, Meaning, NameRole, Vocabulary};

/// Words that begin what is no block, and what each is for.
const WORDS: [(&str, &str); 5] = [
    ("use", "another file, read as if it stood here"),
    ("define", "a part that may be used by its name"),
    ("parameter", "a value that may be set from outside"),
    ("no", "there is none of a kind"),
    ("departure", "a recorded exception to one rule"),
];

/// How soon something is offered.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// A check waits for it.
    Missing,
    /// It is not written yet.
    Open,
    /// It may stand here.
    Possible,
    /// It is written already, or belongs to what comes next.
    Late,
}

/// What is offered, and where it would go.
struct Offer<'a> {
    view: &'a View,
    ruleset: &'a Ruleset,
    context: &'a Context<'a>,
    all: Vec<CompletionItem>,
    seen: BTreeSet<String>,
}

/// Answers what can be written at a place.
pub(super) fn completion(
    state: &mut State,
    params: CompletionParams,
) -> Option<CompletionResponse> {
    let at = &params.text_document_position_params;
    let Some((view, byte)) = state.place(at) else {
        return rulesets::completion(state, at);
    };
    let ruleset = view.loaded.ruleset.clone()?;
    let context = Context::new(view.text(), &ruleset.vocabulary, byte);
    if !context.is_written() {
        return None;
    }
    let mut offer = Offer {
        view: &view,
        ruleset: &ruleset,
        context: &context,
        all: Vec::new(),
        seen: BTreeSet::new(),
    };
    let waited = waited_for(state, &view, &context, byte);
    match context.cursor.standing {
        Standing::Entry => offer.entries(byte, &waited, Rank::Open),
        Standing::Head => offer.heads(),
        Standing::Value => {
            offer.values();
            if !context.cursor.before.is_empty() {
                offer.entries(byte, &waited, Rank::Late);
            }
        }
        Standing::Quotes | Standing::Comment => {}
    }
    Some(CompletionResponse::CompletionItemList(offer.all))
}

/// Facts of the thing at a place that a check waits for.
fn waited_for(state: &State, view: &View, context: &Context<'_>, byte: usize) -> Vec<String> {
    let object = || -> Option<(&Found, String)> {
        let Inside::Of(kind) = context.inside else {
            return None;
        };
        let (_, design) = judged(view)?;
        // The check is of the text before the last keys: its things go by their labels.
        let id = object_at(design, view.file, byte, kind)?;
        Some((state.found.get(&view.root)?, design.label(id)))
    };
    let Some((found, label)) = object() else {
        return Vec::new();
    };
    let missing = found.findings().flat_map(|f| &f.missing);
    let missing = missing.filter(|m| m.of == label);
    missing.map(|m| m.fact.clone()).collect()
}

impl Offer<'_> {
    fn add(&mut self, label: &str, text: &str, icon: Icon, detail: &str, rank: Rank) {
        if !self.seen.insert(label.to_owned()) {
            return;
        }
        let (view, token) = (self.view, &self.context.cursor.token);
        let range = view.lines.range(view.text(), token.start, token.end);
        self.all.push(CompletionItem {
            // The order of the vocabulary within a rank.
            sort_text: Some(format!("{}{:04}", rank as u8, self.all.len())),
            ..rulesets::offered(range, label, text, icon, detail)
        });
    }

    /// What is written as it is called.
    fn word(&mut self, word: &str, icon: Icon, detail: &str, rank: Rank) {
        self.add(word, word, icon, detail, rank);
    }

    /// Keys, and words that open blocks.
    fn entries(&mut self, byte: usize, waited: &[String], least: Rank) {
        let ruleset = self.ruleset;
        let v = &ruleset.vocabulary;
        match self.context.inside {
            Inside::Top => self.blocks(|k| !k.part_only && !k.is_abstract(), least),
            Inside::Of(kind) => {
                let view = self.view;
                let object = judged(view).and_then(|(_, design)| {
                    Some(design.object(object_at(design, view.file, byte, kind)?))
                });
                let declared = v.kind(kind);
                for ix in declared.fact_ids() {
                    let fact = declared.fact(ix);
                    if !fact.writable {
                        continue;
                    }
                    let written = object.is_some_and(|o| o.written(ix).is_some());
                    let rank = match (written, waited.contains(&fact.name), least) {
                        (_, _, Rank::Late) | (true, ..) => Rank::Late,
                        (false, true, _) => Rank::Missing,
                        (false, false, _) => Rank::Open,
                    };
                    self.key(kind, ix, rank);
                }
                let within = move |k: &Kind| k.within.iter().any(|w| w.kind == kind);
                self.blocks(within, least.max(Rank::Possible));
            }
            Inside::Other => {}
        }
    }

    fn key(&mut self, kind: KindId, ix: FactIx, rank: Rank) {
        let fact = self.ruleset.vocabulary.fact(kind, ix);
        let text = if self.context.is_key() {
            fact.name.clone()
        } else {
            format!("{}: ", fact.name)
        };
        let before = self.all.len();
        self.add(&fact.name, &text, Icon::Property, &fact.texts.means, rank);
        if let Some(item) = self.all.get_mut(before) {
            item.data = Some(serde_json::json!({
                "file": self.view.source.name(),
                "kind": kind.0,
                "fact": ix.0,
            }));
        }
    }

    fn blocks(&mut self, suits: impl Fn(&Kind) -> bool, least: Rank) {
        let v = &self.ruleset.vocabulary;
        let design = judged(self.view).map(|(_, d)| d);
        for id in v.kind_ids().filter(|id| suits(v.kind(*id))) {
            let kind = v.kind(id);
            let count = design.map_or(0, |d| {
                d.of_kind(id).filter(|o| !d.object(*o).phantom).count()
            });
            let lacks = count < kind.at_least as usize;
            let rank = if lacks && least != Rank::Late {
                Rank::Missing
            } else {
                least
            };
            let text = format!("{} ", kind.name);
            self.add(&kind.name, &text, Icon::Class, &kind.means, rank);
        }
        let top = self.context.inside == Inside::Top;
        for (word, what) in WORDS.iter().filter(|(word, _)| top || *word == "no") {
            self.add(word, &format!("{word} "), Icon::Keyword, what, Rank::Late);
        }
    }

    /// Words behind the first of a head.
    fn heads(&mut self) {
        let v = &self.ruleset.vocabulary;
        let head = self.context.head();
        match head.as_slice() {
            ["no", _] => {
                for kind in v.kinds.iter().filter(|k| !k.part_only) {
                    self.word(&kind.name, Icon::Class, &kind.means, Rank::Possible);
                }
            }
            ["define", _, "as", _] => self.openings(None),
            ["departure", "from", _] => {
                for rule in &self.ruleset.rules {
                    self.word(&rule.id, Icon::Event, &rule.texts.title, Rank::Possible);
                }
            }
            [kind, ..] => {
                let kind = v.opened_by(kind).unwrap_or(kind);
                let Some(kind) = v.kind_named(kind) else {
                    return;
                };
                match v.kind(kind).name_role {
                    NameRole::Choice(fact) if head.len() == 2 => self.words(kind, fact),
                    NameRole::Reference(fact) if head.len() == 2 => self.names(kind, fact),
                    _ => {}
                }
                if let Some(short) = v.short.get(&kind) {
                    for u in &short.unkeyed {
                        let means = &v.fact(kind, u.fact).texts.means;
                        for word in &u.words {
                            self.word(word, Icon::EnumMember, means, Rank::Possible);
                        }
                    }
                }
            }
            [] => {}
        }
    }

    /// Values of a fact.
    fn values(&mut self) {
        let Some((kind, ix)) = self.context.of() else {
            return;
        };
        let v = &self.ruleset.vocabulary;
        let fact = v.fact(kind, ix);
        let token = &self.context.cursor.token;
        let before = self.view.text().get(..token.start).unwrap_or("");
        if before.ends_with('(') {
            for origin in Origin::ALL {
                self.word(origin.word(), Icon::EnumMember, "", Rank::Possible);
            }
            return;
        }
        match &fact.ty {
            FactType::Choice { .. } | FactType::Some { .. } => self.words(kind, ix),
            FactType::YesNo => {
                self.word("yes", Icon::EnumMember, "", Rank::Open);
                self.word("no", Icon::EnumMember, "", Rank::Open);
            }
            FactType::Quantity { unit, per_line, .. } => {
                let number = before.trim_end().ends_with(|c: char| c.is_ascii_digit());
                if number {
                    self.units(unit);
                } else {
                    if let Some(series) = fact.series {
                        for member in &v.series(series).members {
                            let text = member.shown(unit);
                            self.word(&text, Icon::Value, &fact.texts.means, Rank::Open);
                        }
                    }
                    if *per_line {
                        for line in LINES {
                            self.word(line, Icon::EnumMember, "", Rank::Possible);
                        }
                    }
                }
            }
            FactType::Part(part) | FactType::Parts(part) => self.openings(Some(*part)),
            FactType::Reference(_) | FactType::References(_) => self.names(kind, ix),
            FactType::Text | FactType::Date | FactType::Reverse { .. } => {}
        }
        for name in self.given() {
            self.word(&name, Icon::Variable, "", Rank::Possible);
        }
        if self.context.cursor.before.is_empty() {
            if fact.optional {
                self.word("none", Icon::Keyword, "there is none", Rank::Possible);
            }
            self.word("?", Icon::Keyword, "not known yet", Rank::Possible);
        }
    }

    /// Names of defines and parameters.
    fn given(&self) -> Vec<String> {
        let files = (0_u16..).map(FileId).zip(self.view.loaded.sources.own());
        let trees = files.filter_map(|(id, _)| self.view.loaded.parsed(id));
        let Some((kind, ix)) = self.context.of() else {
            return Vec::new();
        };
        let fact = self.ruleset.vocabulary.fact(kind, ix);
        let part = match fact.ty {
            FactType::Part(part) | FactType::Parts(part) => Some(part),
            _ => None,
        };
        let v = &self.ruleset.vocabulary;
        let suits = |item: &Item| match (item, part) {
            (Item::Define(d), Some(part)) => {
                let kind = opened(v, &d.head.text).filter(|k| v.fits(*k, part));
                kind.map(|_| d.name.text.clone())
            }
            (Item::Parameter(p), None) if fact.unit().is_some() => Some(p.name.text.clone()),
            _ => None,
        };
        trees
            .flat_map(|p| p.tree.items.iter().filter_map(suits))
            .collect()
    }

    fn words(&mut self, kind: KindId, ix: FactIx) {
        let v = &self.ruleset.vocabulary;
        let fact = v.fact(kind, ix);
        for word in fact.words().into_iter().flat_map(|w| w.iter()) {
            self.word(word, Icon::EnumMember, "", Rank::Open);
        }
        // Other words of the trade for the same, said to be so.
        for (word, meaning) in v.short.get(&kind).into_iter().flat_map(|s| &s.also) {
            if let Meaning::Word(fact, meant) = meaning
                && *fact == ix
            {
                let detail = format!("for {meant}");
                self.word(word, Icon::EnumMember, &detail, Rank::Late);
            }
        }
    }

    /// Names of blocks that a reference may lead to.
    fn names(&mut self, kind: KindId, ix: FactIx) {
        let v = &self.ruleset.vocabulary;
        let Some(target) = v.fact(kind, ix).target() else {
            return;
        };
        let Some((_, design)) = judged(self.view) else {
            return;
        };
        let suits = |id: &ObjectId| {
            let o = design.object(*id);
            !o.phantom && o.owner.is_none() && v.fits(o.kind, target)
        };
        for id in design.ids().filter(suits) {
            let object = design.object(id);
            let kind = &v.kind(object.kind).name;
            let detail = match &object.label {
                Some(label) => format!("{kind} \"{label}\""),
                None => kind.clone(),
            };
            let label = design.label(id);
            self.word(&label, Icon::Reference, &detail, Rank::Open);
        }
    }

    /// Words that open a part.
    fn openings(&mut self, wanted: Option<KindId>) {
        let v: &Vocabulary = &self.ruleset.vocabulary;
        let suits = |k: &KindId| wanted.is_none_or(|w| v.fits(*k, w));
        for kind in v.kind_ids().filter(suits).map(|id| v.kind(id)) {
            for head in &kind.heads {
                let text = format!("{} ", head.word);
                self.add(&head.word, &text, Icon::Struct, &kind.means, Rank::Open);
            }
        }
    }

    /// Units of the same dimension, the usual one first.
    fn units(&mut self, usual: &Unit) {
        self.word(usual.text(), Icon::Unit, "", Rank::Open);
        for text in Unit::all_spellings() {
            // Only what is printed: other spellings mean the same.
            let same = Unit::parse(text).is_ok_and(|u| u.dim() == usual.dim() && u.text() == text);
            if same {
                self.word(text, Icon::Unit, "", Rank::Possible);
            }
        }
    }
}

/// Adds what an offered fact means in full.
pub(super) fn resolve(state: &mut State, mut item: CompletionItem) -> CompletionItem {
    let found = item.data.as_ref().and_then(|data| {
        let number = |key: &str| u16::try_from(data.get(key)?.as_u64()?).ok();
        let path = data.get("file")?.as_str()?;
        let (kind, fact) = (number("kind")?, number("fact")?);
        Some((path.to_owned(), KindId(kind), FactIx(fact)))
    });
    let Some((path, kind, fact)) = found else {
        return item;
    };
    let view = state.view(path.as_ref());
    let ruleset = view.and_then(|v| v.loaded.ruleset.clone());
    // Between the offer and this another ruleset may have been named.
    let known = |r: &Ruleset| {
        let kind = r.vocabulary.kinds.get(usize::from(kind.0));
        kind.is_some_and(|k| usize::from(fact.0) < k.facts.len())
    };
    if let Some(ruleset) = ruleset.filter(|r| known(r)) {
        let text = words::fact(&ruleset, kind, fact, 80);
        let explained = state.client.explained(&[Part::Code(text)]);
        item.documentation = Some(Documentation::MarkupContent(explained));
    }
    item
}
