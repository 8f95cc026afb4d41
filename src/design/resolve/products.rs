//! What a thing is by the name of a product: the facts of the product are put among its own. The
//! job may narrow what its product says, or fill in what that leaves silent; it never contradicts
//! it. What a generic product of the ruleset says is asked of what is bought.

mod generic;

use std::rc::Rc;

use rustc_hash::FxHashMap;

use super::parts::opens;
use super::resolver::{listed, nearest};
use crate::design::tree::{
    Block, Define, Entry, FactEntry, Item, Tree, Value, ValueKind, Word, blocks_in,
};
use crate::source::limits::THINGS;
use crate::source::{Problem, Span};
use crate::vocabulary::{KindId, Vocabulary, with_article};
use generic::{ask, moved};

pub(super) use generic::mentioned;

/// A product with all that it says, what it is made of put in.
struct Whole {
    /// The word that opens what it is.
    head: Word,
    kind: KindId,
    entries: Vec<Entry>,
    /// Where its name stands.
    name: Span,
    generic: bool,
}

/// Puts products into all that is one, in the trees of a design, the generic ones first of them.
pub(super) fn put_in(trees: &mut [Tree], vocabulary: &Vocabulary) -> Vec<Problem> {
    let mut defines = FxHashMap::default();
    for (place, tree) in trees.iter_mut().enumerate() {
        for item in &mut tree.items {
            if let Item::Define(define) = item {
                let mut products = vocabulary.products.iter();
                let generic = products.find(|p| place == 0 && p.name == define.name.text);
                if let Some(product) = generic {
                    ask(define, product);
                }
                defines
                    .entry(define.name.text.clone())
                    .or_insert_with(|| (define.clone(), generic.is_some()));
            }
        }
    }
    let mut merge = Merge {
        v: vocabulary,
        defines,
        whole: FxHashMap::default(),
        open: Vec::new(),
        problems: Vec::new(),
        put: 0,
    };
    for item in trees.iter_mut().flat_map(|t| &mut t.items) {
        match item {
            Item::Block(block) => merge.block(block),
            Item::Define(define) => {
                let name = define.name.clone();
                if let Some(whole) = merge.whole(&name) {
                    define.head.text.clone_from(&whole.head.text);
                    define.entries.clone_from(&whole.entries);
                }
            }
            Item::Use(_) | Item::Parameter(_) | Item::No(_) => {}
        }
    }
    merge.problems
}

struct Merge<'v> {
    v: &'v Vocabulary,
    /// Each define, and whether it is a generic product.
    defines: FxHashMap<String, (Define, bool)>,
    whole: FxHashMap<String, Option<Rc<Whole>>>,
    /// Products that are being put together, outermost first.
    open: Vec<String>,
    problems: Vec<Problem>,
    /// Entries put in so far.
    put: usize,
}

impl Merge<'_> {
    fn block(&mut self, block: &mut Block) {
        if block.from.is_some() {
            return;
        }
        let Some(kind) = self.v.kind_named(&block.kind.text) else {
            for entry in &mut block.entries {
                if let Entry::Block(inner) = entry {
                    self.block(inner);
                }
            }
            return;
        };
        if let Some(name) = self.named(&mut block.entries)
            && let Some(whole) = self.whole(&name)
        {
            if whole.kind == kind {
                self.join(kind, &mut block.entries, &whole, &name);
            } else {
                self.other_kind(&name, &whole, kind)
                    .at(block.kind.span, "this is one")
                    .report(&mut self.problems);
            }
        }
        self.entries(kind, &mut block.entries);
    }

    /// Takes out what says which product a thing is.
    fn named(&mut self, entries: &mut Vec<Entry>) -> Option<Word> {
        let mut names: Vec<Word> = Vec::new();
        entries.retain(|entry| match entry {
            Entry::Fact(f) if f.key.text == "as" => {
                let text = match &f.value.kind {
                    ValueKind::Word(text) => text.clone(),
                    _ => String::new(),
                };
                names.push(Word::new(text, f.value.span));
                false
            }
            _ => true,
        });
        let mut names = names.into_iter();
        let first = names.next()?;
        for more in names {
            Problem::error("duplicate-fact", "a thing is one product")
                .at(more.span, "again")
                .at(first.span, "first here")
                .help("define a product that is both, and name that")
                .report(&mut self.problems);
        }
        Some(first)
    }

    fn entries(&mut self, kind: KindId, entries: &mut [Entry]) {
        for entry in entries {
            match entry {
                Entry::Fact(fact) => {
                    if let Some(part) = self.v.kind(kind).part_of(&fact.key.text) {
                        self.value(part, &mut fact.value);
                    }
                }
                Entry::Block(block) => self.block(block),
                Entry::No(_) => {}
            }
        }
    }

    fn value(&mut self, kind: KindId, value: &mut Value) {
        match &mut value.kind {
            ValueKind::OneOf(all) | ValueKind::List(all) | ValueKind::ByTurn(all) => {
                for value in all {
                    self.value(kind, value);
                }
            }
            ValueKind::Part { head, entries } => {
                let by = self.defines.contains_key(&head.text).then(|| head.clone());
                let named = self.named(entries);
                for (name, opens_it) in by
                    .map(|n| (n, true))
                    .into_iter()
                    .chain(named.map(|n| (n, false)))
                {
                    let Some(whole) = self.whole(&name) else {
                        continue;
                    };
                    let own = opens(self.v, &head.text).map(|(kind, _)| kind);
                    match own {
                        _ if opens_it => head.text.clone_from(&whole.head.text),
                        // Of another kind nothing is taken: it would be told fact by fact.
                        Some(own) if own != whole.kind => {
                            self.problems.push(self.other_kind(&name, &whole, own));
                            continue;
                        }
                        _ => self.same_head(head, &whole, &name),
                    }
                    self.join(whole.kind, entries, &whole, &name);
                }
                let real = opens(self.v, &head.text).map_or(kind, |(real, _)| real);
                self.entries(real, entries);
            }
            // A copy of a part that the design itself defines is made where it is used.
            ValueKind::Word(word)
                if self.defines.get(word).is_some_and(|(_, generic)| *generic) =>
            {
                let name = Word::new(word.clone(), value.span);
                if let Some(whole) = self.whole(&name) {
                    let mut entries = Vec::new();
                    self.join(whole.kind, &mut entries, &whole, &name);
                    let head = Word::new(whole.head.text.clone(), value.span);
                    value.kind = ValueKind::Part { head, entries };
                }
            }
            _ => {}
        }
    }

    /// A part opened by one word that is a product opened by another.
    fn same_head(&mut self, head: &mut Word, whole: &Whole, name: &Word) {
        let plain = |word: &str| self.v.kind_named(word).is_some();
        if opens(self.v, &head.text).is_none()
            || !plain(&head.text) && !plain(&whole.head.text) && head.text != whole.head.text
        {
            let own = &whole.head.text;
            let why = format!("`{}` is not what the product `{}` is", head.text, name.text);
            Problem::wrong("contradicts-product", head.span, why)
                .at(whole.name, format!("it is {}", with_article(own)))
                .help(format!("open it with `{own}`, or name another product"))
                .report(&mut self.problems);
        } else if plain(&head.text) {
            head.text.clone_from(&whole.head.text);
        }
    }

    fn other_kind(&self, name: &Word, whole: &Whole, wanted: KindId) -> Problem {
        let of = with_article(&self.v.kind(whole.kind).name);
        let wanted = &self.v.kind(wanted).name;
        let text = &name.text;
        let what = with_article(wanted);
        let why = format!("`{text}` is {of}, and stands behind `as` of {what}");
        Problem::wrong("wrong-product", name.span, why)
            .at(whole.name, "defined here")
            .help(format!("name a product that is {}", with_article(wanted)))
    }

    /// A product by its name, with all that it is made of; reports what is wrong with it once.
    fn whole(&mut self, name: &Word) -> Option<Rc<Whole>> {
        if let Some(known) = self.whole.get(&name.text) {
            return known.clone();
        }
        let Some((define, generic)) = self.defines.get(&name.text).cloned() else {
            self.unknown(name);
            return None;
        };
        if self.open.contains(&name.text) {
            let mut path: Vec<&String> =
                self.open.iter().skip_while(|n| **n != name.text).collect();
            path.push(&name.text);
            let why = format!(
                "the define `{}` holds itself: {}",
                name.text,
                listed(&path, "and")
            );
            return Problem::wrong("circular-define", name.span, why)
                .at(define.name.span, "defined here")
                .help("write one of them out in place")
                .fail(&mut self.problems);
        }
        self.open.push(name.text.clone());
        let built = self.built(&define, generic);
        self.open.pop();
        let built = built.map(Rc::new);
        self.whole.insert(name.text.clone(), built.clone());
        built
    }

    fn built(&mut self, define: &Define, generic: bool) -> Option<Whole> {
        let mut entries = define.entries.clone();
        let named = self.named(&mut entries);
        let opened = opens(self.v, &define.head.text);
        let (mut head, kind, base) = match opened {
            Some((kind, _)) => (define.head.clone(), kind, None),
            None if self.defines.contains_key(&define.head.text) => {
                let base = self.whole(&define.head)?;
                (
                    base.head.clone(),
                    base.kind,
                    Some((base, define.head.clone())),
                )
            }
            // Told where it is used.
            None => return None,
        };
        for block in blocks_in(&entries) {
            let of = with_article(&self.v.kind(kind).name);
            let why = format!("a product that is {of} holds a block");
            Problem::wrong("block-in-product", block.kind.span, why)
                .help("a product holds facts and parts: write the block where the product is used")
                .report(&mut self.problems);
        }
        entries.retain(|e| !matches!(e, Entry::Block(_)));
        if let Some((base, by)) = base {
            self.join(kind, &mut entries, &base, &by);
        }
        if let Some(by) = named
            && let Some(base) = self.whole(&by)
        {
            self.same_head(&mut head, &base, &by);
            self.join(kind, &mut entries, &base, &by);
        }
        self.entries(kind, &mut entries);
        Some(Whole {
            head,
            kind,
            entries,
            name: define.name.span,
            generic,
        })
    }

    fn unknown(&mut self, name: &Word) {
        let own = self.defines.keys().map(String::as_str);
        let mut names: Vec<&str> = own
            .chain(self.v.products.iter().map(|p| p.name.as_str()))
            .collect();
        names.sort_unstable();
        names.dedup();
        let why = format!("there is no product `{}`", name.text);
        let mut problem = Problem::wrong("unknown-product", name.span, why);
        if let Some(near) = nearest(&name.text, &names) {
            problem = problem.help(format!("did you mean `{near}`?"));
        }
        self.problems.push(problem.help(format!(
            "or define it once, `define {} as … {{ … }}`, with what its plate and data sheet say",
            name.text
        )));
    }

    /// Puts what a product says beside what is written of a thing.
    fn join(&mut self, kind: KindId, own: &mut Vec<Entry>, whole: &Whole, by: &Word) {
        self.put = self.put.saturating_add(whole.entries.len());
        if self.put > THINGS {
            if self.put - whole.entries.len() <= THINGS {
                let text = format!("products put more than {THINGS} facts into the design");
                Problem::error("too-many-objects", text)
                    .at(by.span, "given up here")
                    .help("define fewer products inside of others")
                    .report(&mut self.problems);
            }
            return;
        }
        self.beside(kind, own, &whole.entries, (whole.generic, by));
    }

    fn beside(
        &mut self,
        kind: KindId,
        own: &mut Vec<Entry>,
        theirs: &[Entry],
        (generic, by): (bool, &Word),
    ) {
        let declared = self.v.kind(kind);
        let same = |a: &FactEntry, b: &FactEntry| {
            let (x, y) = (
                declared.fact_named(&a.key.text),
                declared.fact_named(&b.key.text),
            );
            a.key.text == b.key.text || (x.is_some() && x == y)
        };
        for entry in theirs {
            let Entry::Fact(their) = entry else {
                if !own.contains(entry) {
                    own.push(entry.clone());
                }
                continue;
            };
            let part = declared.part_of(&their.key.text);
            let mut found = false;
            for mine in own.iter_mut().filter_map(|e| match e {
                Entry::Fact(f) if same(f, their) => Some(f),
                _ => None,
            }) {
                found = true;
                match part {
                    None => mine.settled.push(their.value.clone()),
                    Some(part) => self.part_beside(part, mine, their, (generic, by)),
                }
            }
            if !found {
                let mut entry = their.clone();
                if generic {
                    // A file of the ruleset is no place to write at: the name is.
                    entry.key.span = by.span;
                    entry.span = by.span;
                    moved(&mut entry.value, by.span);
                }
                own.push(Entry::Fact(entry));
            }
        }
    }

    /// A part that both the job and its product say something of.
    fn part_beside(
        &mut self,
        kind: KindId,
        mine: &mut FactEntry,
        their: &FactEntry,
        by: (bool, &Word),
    ) {
        self.value(kind, &mut mine.value);
        let mut theirs = their.value.clone();
        for value in [&mut mine.value, &mut theirs] {
            self.spelled_out(kind, value);
        }
        match (&mut mine.value.kind, &theirs.kind) {
            (ValueKind::Bad, _)
            | (_, ValueKind::Unknown | ValueKind::Bad)
            | (ValueKind::Absent, ValueKind::Absent) => {}
            (
                ValueKind::Part { head, entries },
                ValueKind::Part {
                    head: other,
                    entries: said,
                },
            ) => {
                let plain = |word: &str| self.v.kind_named(word).is_some();
                if head.text == other.text || plain(&other.text) || plain(&head.text) {
                    if plain(&head.text) {
                        head.text.clone_from(&other.text);
                    }
                    let real = opens(self.v, &head.text).map_or(kind, |(real, _)| real);
                    self.beside(real, entries, said, by);
                } else {
                    contradicts(&their.key.text, head.span, other.span).report(&mut self.problems);
                }
            }
            _ => {
                contradicts(&their.key.text, mine.value.span, their.value.span)
                    .report(&mut self.problems);
            }
        }
    }

    /// A word that names a define, or opens a part, as the part.
    fn spelled_out(&mut self, kind: KindId, value: &mut Value) {
        let ValueKind::Word(word) = &value.kind else {
            return;
        };
        let head = Word::new(word.clone(), value.span);
        if self.defines.contains_key(word)
            || opens(self.v, word).is_some_and(|(k, _)| self.v.fits(k, kind))
        {
            value.kind = ValueKind::Part {
                head,
                entries: Vec::new(),
            };
            self.value(kind, value);
        }
    }
}

/// What the job says is not among what its product says.
pub(super) fn contradicts(key: &str, own: Span, product: Span) -> Problem {
    let why = format!("`{key}` is something else in the product that this is");
    Problem::wrong("contradicts-product", own, why)
        .at(product, "the product says this")
        .help("leave it out, narrow what the product says, or name another product")
}
