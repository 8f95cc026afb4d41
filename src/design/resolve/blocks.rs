//! Blocks become objects: their kinds, names, places and numbers.

use super::parts::opens;
use super::resolver::{Pending, Resolver, Turn, listed, nearest, written};
use crate::design::model::{Object, ObjectId, Possible, Status};
use crate::design::tree::{Block, Define, Item, Tree, Word, blocks_in};
use crate::source::Problem;
use crate::source::limits::THINGS;
use crate::vocabulary::{FactIx, Kind, KindId, NameRole, WordSet, with_article};

/// Kinds of which a design may hold several without names: they are entries of a book.
const REPEATABLE: [&str; 3] = ["readings", "record", "law"];

/// Where a block stands.
#[derive(Clone, Copy, Debug)]
enum Place {
    /// At the outermost level.
    Top,
    /// In an object.
    In(ObjectId),
    /// In something that could not be read, or where it may not stand: what standing there would
    /// have set is written wrongly.
    Lost,
}

/// How many blocks a block stands for, those inside it counted.
fn blocks_of(block: &Block) -> usize {
    let inner = blocks_in(&block.entries).map(blocks_of);
    let each = inner.fold(1, usize::saturating_add);
    let repeat = block.name.as_ref().and_then(|n| n.repeat.as_ref());
    each.saturating_mul(repeat.map_or(1, |r| (r.last - r.first) as usize + 1))
}

impl<'a> Resolver<'a> {
    /// Counts the blocks of all files before one is made; reports it if they are too many.
    pub(super) fn has_room_for_blocks(&mut self, trees: &[&Tree]) -> bool {
        let items = trees.iter().flat_map(|tree| &tree.items);
        let blocks = items.filter_map(|item| match item {
            Item::Block(block) => Some((blocks_of(block), block)),
            _ => None,
        });
        let (mut all, mut most): (usize, Option<(usize, &Block)>) = (0, None);
        for (count, block) in blocks {
            all = all.saturating_add(count);
            if most.is_none_or(|(m, _)| count > m) {
                most = Some((count, block));
            }
        }
        let Some((count, block)) = most.filter(|_| all > THINGS) else {
            return true;
        };
        let label = format!("this one stands for {count} of them");
        let message = format!("the design has {all} blocks, more than {THINGS}");
        self.are_too_many(message, block.head(), &label);
        false
    }

    /// Reads all items of all files: objects, and what is kept for later.
    pub(super) fn read_items(&mut self, trees: &[&'a Tree]) {
        for item in trees.iter().copied().flat_map(|tree| &tree.items) {
            match item {
                Item::Block(block) => self.block(block, Place::Top, None),
                Item::Define(define) => self.define(define),
                Item::Use(_) => {}
                Item::Parameter(parameter) => self.parameters_written.push(parameter),
                Item::No(no) => {
                    if let Some(kind) = self.kind_listed(&no.kind) {
                        self.design.closed.push(kind);
                    }
                }
            }
        }
    }

    fn define(&mut self, define: &'a Define) {
        let name = define.name.text.as_str();
        if opens(self.vocabulary, name).is_some() || name == "none" {
            let why = format!("`{name}` already means something else");
            Problem::error("name-taken", why)
                .at(define.name.span, "it opens a part or block of its own")
                .help(format!("choose another name, such as `house-{name}`"))
                .report(self);
            return;
        }
        if let Some(first) = self.defines.get(name) {
            let first = first.name.span;
            Problem::error("duplicate-name", format!("`{name}` is defined twice"))
                .at(define.name.span, "again")
                .at(first, "first here")
                .help("give one of them another name")
                .report(self);
            return;
        }
        self.defines.insert(name, define);
        self.defines_written.push(define);
    }

    fn block(&mut self, block: &'a Block, place: Place, turn: Option<Turn>) {
        if block.from.is_some() || block.kind.text == "judged-elsewhere" {
            if !matches!(place, Place::Top) {
                let what = &block.kind.text;
                let why = format!("{} stands inside a block", with_article(what));
                Problem::wrong("misplaced-block", block.kind.span, why)
                    .help("move it out of all blocks; `for:` says which one it is about")
                    .report(self);
            }
            self.departures.push(block);
            return;
        }
        let Some((kind, place)) = self.placed(block, place) else {
            self.lose(block, turn);
            return;
        };
        match block
            .name
            .as_ref()
            .and_then(|n| Some((n, n.repeat.as_ref()?)))
        {
            None => {
                self.create(block, kind, place, turn, None);
            }
            Some((name, repeat)) => {
                if self.vocabulary.kind(kind).name_role == NameRole::Free {
                    self.repeated
                        .insert(&name.word.text, (repeat.first, repeat.last));
                }
                for (place_in_row, number) in (repeat.first..=repeat.last).enumerate() {
                    let turn = Turn {
                        number,
                        place: place_in_row,
                    };
                    if !self.create(block, kind, place, Some(turn), Some(number)) {
                        break;
                    }
                }
            }
        }
    }

    /// What kind of thing a block is, and where it stands. None: it cannot be used, which was
    /// reported.
    fn placed(&mut self, block: &Block, place: Place) -> Option<(KindId, Place)> {
        let Some(kind) = self.vocabulary.kind_named(&block.kind.text) else {
            self.unknown_kind(block, place);
            return None;
        };
        let declared = self.vocabulary.kind(kind);
        if declared.is_abstract() {
            let real: Vec<_> = declared
                .any_of
                .iter()
                .map(|k| self.vocabulary.kind(*k).name.as_str())
                .collect();
            let why = format!("`{}` stands for several kinds of things", declared.name);
            return Problem::error("abstract-kind", why)
                .at(block.kind.span, "which one is it?")
                .help(format!("write one of {}", listed(&real, "or")))
                .fail(self);
        }
        match place {
            Place::In(outer) => Some((kind, self.nested(block, kind, outer)?)),
            Place::Top if declared.part_only => {
                self.part_on_its_own(block, kind);
                None
            }
            Place::Lost if declared.part_only => None,
            place => Some((kind, place)),
        }
    }

    /// Where a block inside an object stands; none, if it is no block at all but a part.
    fn nested(&mut self, block: &Block, kind: KindId, outer: ObjectId) -> Option<Place> {
        let declared = self.vocabulary.kind(kind);
        let outer_kind = self.design.object(outer).kind;
        if self.vocabulary.within(kind, outer_kind).is_some() {
            return Some(Place::In(outer));
        }
        if self.part_as_block(block, kind, outer) {
            return None;
        }
        let outer_name = &self.vocabulary.kind(outer_kind).name;
        let what = with_article(&declared.name);
        let other = with_article(outer_name);
        let why = format!("{what} cannot stand inside {other}");
        let mut problem = Problem::wrong("misplaced-block", block.kind.span, why)
            .at(self.design.object(outer).head, "the block around it");
        let homes: Vec<_> = declared
            .within
            .iter()
            .map(|w| self.vocabulary.kind(w.kind).name.as_str())
            .collect();
        if declared.part_only {
            problem = problem.help(format!("write it where a fact takes {what}"));
        } else if homes.is_empty() {
            problem = problem.help("move it out, to the outermost level of the file");
        } else {
            problem = problem.help(format!(
                "move it into {}, or out to the outermost level of the file",
                listed(&homes, "or")
            ));
        }
        problem.report(self);
        (!declared.part_only).then_some(Place::Lost)
    }

    /// Reports a part that is written like a block inside the object it belongs to, and marks the
    /// fact as written wrongly.
    fn part_as_block(&mut self, block: &Block, kind: KindId, outer: ObjectId) -> bool {
        let outer_kind = self.design.object(outer).kind;
        let facts = self.part_facts(outer_kind, kind);
        let Some(first) = facts.first() else {
            return false;
        };
        let names: Vec<_> = facts
            .iter()
            .map(|ix| self.vocabulary.fact(outer_kind, *ix).name.as_str())
            .collect();
        let word = &block.kind.text;
        let why = format!("`{word}` is a part here, and no key says which");
        Problem::error("part-without-key", why)
            .at(
                block.kind.span,
                format!("expected {} before it", listed(&names, "or")),
            )
            .help(format!(
                "write `{}: {word} {{ … }}`",
                names.first().unwrap_or(&"")
            ))
            .report(self);
        if facts.len() == 1 {
            self.spoil(outer, *first, block.span);
        }
        true
    }

    fn part_on_its_own(&mut self, block: &Block, kind: KindId) {
        let vocabulary = self.vocabulary;
        let taker = vocabulary.kind_ids().find_map(|id| {
            let ix = *self.part_facts(id, kind).first()?;
            let taker = vocabulary.kind(id);
            Some((taker, taker.fact(ix)))
        });
        let what = with_article(&vocabulary.kind(kind).name);
        let why = format!("{what} is never a block of its own");
        let mut problem = Problem::wrong("part-on-its-own", block.kind.span, why);
        if let Some((taker, fact)) = taker {
            problem = problem.help(format!(
                "write it where it belongs, such as `{}: {} {{ … }}` in {}",
                fact.name,
                block.kind.text,
                with_article(&taker.name)
            ));
        }
        problem.report(self);
    }

    fn unknown_kind(&mut self, block: &Block, place: Place) {
        let word = block.kind.text.as_str();
        if let Some((kind, _)) = self.vocabulary.head_words.get(word) {
            if let Place::In(outer) = place
                && self.part_as_block(block, *kind, outer)
            {
                return;
            }
            self.part_on_its_own(block, *kind);
            return;
        }
        if word == "departure" {
            // Without its rule it was reported when the text was read.
            return;
        }
        if self.asked(word, block.kind.span) {
            return;
        }
        if let Place::In(outer) = place
            && !block.row.is_empty()
            && self.kind_of(outer).fact_named(word).is_some()
        {
            let why = format!("`{word}` is followed by a value without `:`");
            Problem::wrong("missing-colon", block.kind.span, why)
                .help(format!("write `{word}: …`"))
                .report(self);
            return;
        }
        let names = self
            .vocabulary
            .kinds
            .iter()
            .filter(|k| !k.is_abstract() && !k.part_only)
            .map(|k| k.name.as_str());
        let why = format!("there is no kind of block called `{word}`");
        Problem::wrong("unknown-kind", block.kind.span, why)
            .did_you_mean(word, names)
            .report(self);
    }

    /// A block that cannot be used: what stands inside it is still read.
    fn lose(&mut self, block: &'a Block, turn: Option<Turn>) {
        if let Some(name) = &block.name {
            self.lost.insert(&name.word.text);
        }
        let v = self.vocabulary;
        let names: Vec<&str> = v.kinds.iter().map(|k| k.name.as_str()).collect();
        let word = block.kind.text.as_str();
        let meant = nearest(word, &names).and_then(|name| v.kind_named(name));
        self.design.lost.extend(v.kind_named(word).or(meant));
        for inner in blocks_in(&block.entries) {
            self.block(inner, Place::Lost, turn);
        }
    }

    /// Makes an object of a block, or of one member of a repeated one, and of all blocks inside.
    /// False, if there are too many.
    fn create(
        &mut self,
        block: &'a Block,
        kind: KindId,
        place: Place,
        turn: Option<Turn>,
        number: Option<u32>,
    ) -> bool {
        let head = block.head();
        if !self.room_for(1, head) {
            return false;
        }
        let declared = self.vocabulary.kind(kind);
        let outer = match place {
            Place::In(outer) => Some(outer),
            Place::Top | Place::Lost => None,
        };
        let word = block.name.as_ref().map(|n| &n.word);
        let own = |w: &Word| match number {
            Some(number) => format!("{}[{number}]", w.text),
            None => w.text.clone(),
        };
        let name = match (word, declared.name_role) {
            (None, _) => declared.name.clone(),
            (Some(word), NameRole::Reference(_)) => format!("{} {}", declared.name, own(word)),
            (Some(word), _) => own(word),
        };
        // What stands in a thing that the works alter was there, too, unless it says otherwise.
        let inherited = match outer.map_or(Status::default(), |o| self.design.object(o).status) {
            Status::Altered => Status::Existing,
            status => status,
        };
        let silent = Object::silent(kind, declared.facts.len(), name, block.span, head);
        let object = Object {
            named: word.is_some(),
            label: block.label.as_ref().map(|l| l.value.clone()),
            scope: outer,
            status: self.status(&block.entries, inherited),
            ..silent
        };
        let id = self.add_object(object);
        self.read_closed(id, &block.entries);
        match place {
            Place::Top => {}
            Place::In(outer) => {
                let outer_kind = self.design.object(outer).kind;
                if let Some(within) = self.vocabulary.within(kind, outer_kind) {
                    let outer = written(Possible::Object(outer), head, head);
                    self.set_fact(id, within.sets, outer);
                }
            }
            Place::Lost => {
                for within in &declared.within {
                    self.spoil(id, within.sets, head);
                }
            }
        }
        self.name(block, id, declared);
        let refers = match (declared.name_role, word) {
            (NameRole::Reference(fact), Some(word)) => Some((fact, own(word), word.span)),
            _ => None,
        };
        self.pending.push(Pending {
            object: id,
            entries: &block.entries,
            turn,
            refers,
        });
        for inner in blocks_in(&block.entries) {
            self.block(inner, Place::In(id), turn);
        }
        true
    }

    /// Enters an object under its name, or sets the fact that its name is a word of.
    fn name(&mut self, block: &'a Block, id: ObjectId, declared: &'a Kind) {
        let name = self.design.object(id).name.clone();
        let word = block.name.as_ref().map(|n| &n.word);
        match (word, declared.name_role) {
            (Some(word), NameRole::Choice(fact)) => self.name_as_choice(word, id, declared, fact),
            (Some(_), NameRole::Reference(_)) => return,
            (Some(word), NameRole::Free) if matches!(word.text.as_str(), "none" | "all" | "n") => {
                let why = format!("`{}` has a meaning of its own in values", word.text);
                Problem::wrong("name-taken", word.span, why)
                    .help("choose another name: no fact could refer to this one")
                    .report(self);
            }
            (Some(_), NameRole::Free) => {
                if self.is_duplicate(id, &name) {
                    return;
                }
            }
            (None, role) => {
                let many = role != NameRole::Free || REPEATABLE.contains(&declared.name.as_str());
                if !many && self.is_duplicate(id, &name) {
                    return;
                }
            }
        }
        self.names.entry(name).or_default().push(id);
    }

    /// Whether another object has this name; reports it. Members of a repeated block each have
    /// unnamed blocks of their own.
    fn is_duplicate(&mut self, id: ObjectId, name: &str) -> bool {
        let object = self.design.object(id);
        let (kind, named, head) = (object.kind, object.named, object.head);
        let outer = object.scope;
        let key = if named {
            (kind, name.to_owned(), outer)
        } else {
            (kind, String::new(), None)
        };
        let first = *self.taken.entry(key).or_insert(id);
        if first == id || !named && self.design.object(first).head == head {
            return false;
        }
        let first = self.design.object(first).head;
        let kind = &self.vocabulary.kind(kind).name;
        let problem = if named {
            let why = format!("the {kind} `{name}` is written twice");
            Problem::error("duplicate-name", why).help("give one of them another name")
        } else {
            let why = format!("there are two blocks `{kind}` without a name");
            Problem::error("duplicate-name", why)
                .help(format!("name them, as in `{kind} first {{ … }}`"))
        };
        problem
            .at(head, "again")
            .at(first, "first here")
            .report(self);
        true
    }

    fn name_as_choice(&mut self, word: &'a Word, id: ObjectId, declared: &'a Kind, ix: FactIx) {
        let fact = declared.fact(ix);
        let value = match fact.words() {
            Some(words) => match words.iter().position(|w| *w == word.text) {
                Some(place) => Possible::Words(WordSet::one(place)),
                None => Problem::error(
                    "unknown-word",
                    format!("there is no {} called `{}`", declared.name, word.text),
                )
                .at(
                    word.span,
                    format!("expected one of {}", listed(words, "or")),
                )
                .did_you_mean(&word.text, words.iter().map(String::as_str))
                .fail(self)
                .unwrap_or(Possible::Poison),
            },
            None => Possible::Unknown,
        };
        self.set_fact(id, ix, written(value, word.span, word.span));
    }
}
