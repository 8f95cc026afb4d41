//! Words of a ruleset on a terminal.

use std::fmt::Write as _;

use super::say::{conditions, either, form, members, real_kinds, unwritten};
use super::{Asked, Role, facts_of, held_by, kinds_in_order, role, sets};
use crate::report::wrap::wrapped;
use crate::ruleset::Ruleset;
use crate::vocabulary::{Fact, FactIx, Kind, KindId, Meaning, NameRole, with_article};

/// Kinds that share a heading.
struct Group {
    title: &'static str,
    holds: fn(&Kind) -> bool,
}

const GROUPS: [Group; 3] = [
    Group {
        title: "Blocks, and how many there are",
        holds: |k| !k.is_abstract() && !k.part_only,
    },
    Group {
        title: "Parts, written in place where a fact takes one",
        holds: |k| !k.is_abstract() && k.part_only,
    },
    Group {
        title: "Names for several kinds, where a fact takes any of them",
        holds: Kind::is_abstract,
    },
];

/// What is asked for, in lines of at most `width` columns where blanks allow it.
#[must_use]
pub fn text(ruleset: &Ruleset, asked: &Asked, width: usize) -> String {
    let page = Page { ruleset, width };
    match asked {
        Asked::All => page.all(),
        Asked::Kind { kind, head } => page.kind(*kind, *head),
        Asked::Facts(facts) => {
            let all: Vec<String> = facts.iter().map(|(k, f)| page.whole_fact(*k, *f)).collect();
            all.join("\n")
        }
    }
}

/// One fact in short: what it is, what it may be, who settles it, what holds where it is not written.
#[must_use]
pub fn fact(ruleset: &Ruleset, kind: KindId, ix: FactIx, width: usize) -> String {
    let declared = ruleset.vocabulary.kind(kind);
    let name = format!("{}.{}", declared.name, declared.fact(ix).name);
    Page { ruleset, width }.fact(kind, ix, &name, 2)
}

struct Page<'a> {
    ruleset: &'a Ruleset,
    width: usize,
}

impl Page<'_> {
    fn all(&self) -> String {
        let v = &self.ruleset.vocabulary;
        let kinds = kinds_in_order(self.ruleset);
        let longest = |of: fn(&Self, KindId) -> String| {
            let all = kinds.iter().map(|k| of(self, *k).chars().count());
            all.max().unwrap_or(0)
        };
        let name = |p: &Self, k: KindId| p.ruleset.vocabulary.kind(k).name.clone();
        let (names, counts) = (longest(name), longest(Self::how_many));
        let mut out = String::new();
        for group in GROUPS {
            let of: Vec<KindId> = kinds
                .iter()
                .copied()
                .filter(|k| (group.holds)(v.kind(*k)))
                .collect();
            if of.is_empty() {
                continue;
            }
            let _ = writeln!(out, "{} ({})", group.title, of.len());
            for id in of {
                let kind = v.kind(id);
                let mut lead = format!("  {:<names$}  ", kind.name);
                if !kind.part_only && !kind.is_abstract() {
                    let _ = write!(lead, "{:<counts$}  ", self.how_many(id));
                }
                let hang = lead.chars().count();
                out.push_str(&wrapped(&lead, &kind.means, hang, self.width));
                let words = opening(kind);
                let blank = " ".repeat(hang);
                if kind.is_abstract() {
                    let real = either(&real_kinds(v, id));
                    out.push_str(&wrapped(&blank, &real, hang, self.width));
                } else if words != [kind.name.as_str()] && !words.is_empty() {
                    let list = format!("written {}", either(&words));
                    out.push_str(&wrapped(&blank, &list, hang, self.width));
                }
            }
            out.push('\n');
        }
        let count = |wanted: Role| -> usize {
            let of = |k: &KindId| facts_of(self.ruleset, *k, wanted).len();
            kinds.iter().map(of).sum()
        };
        let totals = format!(
            "{} kinds with {} facts to write and {} worked out, of {} in edition {}",
            kinds.len(),
            count(Role::Written),
            count(Role::Derived),
            self.ruleset.id,
            self.ruleset.edition.id
        );
        let more =
            "`amperule rules words circuit` shows a kind, `amperule rules words cable.size` a fact";
        for line in [totals.as_str(), more] {
            out.push_str(&wrapped("", line, 2, self.width));
        }
        out
    }

    /// How many blocks of a kind there are.
    fn how_many(&self, id: KindId) -> String {
        let kind = self.ruleset.vocabulary.kind(id);
        if kind.part_only || kind.is_abstract() {
            return String::new();
        }
        let count = match kind.at_least {
            0 => "any number".to_owned(),
            n => format!("{n} or more"),
        };
        if held_by(self.ruleset, id).is_empty() {
            count
        } else {
            format!("{count}, or in place")
        }
    }

    /// What can be said of a kind without keys, in other words of the trade, and by products.
    fn shortly(&self, id: KindId) -> Vec<(&'static str, String)> {
        let v = &self.ruleset.vocabulary;
        let is_one = |word: &str| match v.head_words.get(word) {
            Some((kind, _)) => *kind == id,
            None => v.kind_named(word) == Some(id),
        };
        let products = v.products.iter().filter(|p| is_one(&p.is));
        let products: Vec<&str> = products.map(|p| p.name.as_str()).collect();
        let name = |ix: &FactIx| v.fact(id, *ix).name.clone();
        let mut all = Vec::new();
        if let Some(short) = v.short.get(&id) {
            let mut unkeyed: Vec<String> = short.unkeyed.iter().map(|u| name(&u.fact)).collect();
            unkeyed.extend(short.marks.iter().map(|m| match &m.unit {
                Some(unit) => format!("{} {unit}", m.text),
                None => m.text.clone(),
            }));
            let said = short.also.iter().map(|(word, meaning)| match meaning {
                Meaning::Opens(meant) => format!("{word} is {meant}"),
                Meaning::Fact(fact) => format!("{word} is {}", name(fact)),
                Meaning::Word(fact, meant) => format!("{word} is {}: {meant}", name(fact)),
                Meaning::Mark(mark) => format!("{word} is {mark}"),
            });
            all.push(("unkeyed", unkeyed.join(", ")));
            all.push(("other word", said.collect::<Vec<_>>().join(", ")));
        }
        all.push(("product", products.join(", ")));
        all.retain(|(_, said)| !said.is_empty());
        all
    }

    fn kind(&self, id: KindId, head: Option<usize>) -> String {
        let v = &self.ruleset.vocabulary;
        let kind = v.kind(id);
        let mut out = String::new();
        let asked = head.and_then(|h| kind.heads.get(h));
        if let Some(head) = asked.filter(|h| h.word != kind.name) {
            let made: Vec<String> = sets(kind, head)
                .into_iter()
                .map(|(fact, word)| format!("{fact}: {word}"))
                .collect();
            let made = if made.is_empty() {
                String::new()
            } else {
                format!(" with {}", made.join(", "))
            };
            let said = format!("{} opens {}{made}", head.word, with_article(&kind.name));
            out.push_str(&wrapped("", &said, 2, self.width));
        }
        let lead = format!("{}: ", kind.name);
        out.push_str(&wrapped(&lead, &kind.means, 2, self.width));
        let mut about = self.about(id);
        let facts = self.facts_called(asked.map_or(&kind.name, |h| &h.word));
        if !facts.is_empty() {
            about.push(("also", format!("the fact {}", facts.join(", "))));
        }
        about.extend(self.shortly(id));
        for (label, said) in about {
            out.push_str(&wrapped(&format!("  {label:<10} "), &said, 13, self.width));
        }
        let mut section = |title: &str, facts: &[FactIx], body: String| {
            if !facts.is_empty() {
                let title = title.replace('#', &facts.len().to_string());
                out.push('\n');
                out.push_str(&wrapped("", &title, 2, self.width));
                out.push_str(&body);
            }
        };
        let written = facts_of(self.ruleset, id, Role::Written);
        let each = written.iter().map(|ix| {
            let name = format!("  {}", kind.fact(*ix).name);
            self.fact(id, *ix, &name, 4)
        });
        section(
            "Facts to write (#); of one that is not written nothing is known, unless it says otherwise",
            &written,
            each.collect(),
        );
        let derived = facts_of(self.ruleset, id, Role::Derived);
        section(
            "Worked out, not to be written (#)",
            &derived,
            self.table(id, &derived),
        );
        let collected = facts_of(self.ruleset, id, Role::Collected);
        section(
            "Collected from what names it, not to be written (#)",
            &collected,
            self.table(id, &collected),
        );
        out
    }

    /// The facts of this name, as `circuit.rcd`.
    fn facts_called(&self, name: &str) -> Vec<String> {
        let kinds = self.ruleset.vocabulary.kinds.iter();
        let named = kinds.filter_map(|k| Some((k, k.fact_named(name)?)));
        let called = named.map(|(k, f)| format!("{}.{}", k.name, k.fact(f).name));
        called.collect()
    }

    /// Where it stands, how often, under what name.
    fn about(&self, id: KindId) -> Vec<(&'static str, String)> {
        let v = &self.ruleset.vocabulary;
        let kind = v.kind(id);
        let mut all = Vec::new();
        if kind.is_abstract() {
            all.push(("any of", real_kinds(v, id).join(", ")));
            return all;
        }
        let mut places = Vec::new();
        if !kind.part_only {
            all.push((
                "how many",
                match kind.at_least {
                    0 => "any number".to_owned(),
                    n => format!(
                        "{n} or more; one that is not written is judged as if nothing of it were known"
                    ),
                },
            ));
            all.push(("written", format!("{} NAME {{ … }}", kind.name)));
            places.push("at the outermost level".to_owned());
            let mut set: Vec<FactIx> = kind.within.iter().map(|w| w.sets).collect();
            set.dedup();
            for ix in set {
                let around = kind.within.iter().filter(|w| w.sets == ix);
                let around: Vec<&str> = around.map(|w| v.kind(w.kind).name.as_str()).collect();
                places.push(format!(
                    "in {}, which sets {}",
                    with_article(&either(&around)),
                    kind.fact(ix).name
                ));
            }
            let name = match kind.name_role {
                NameRole::Free => None,
                NameRole::Choice(f) => Some(format!("a word of {}", kind.fact(f).name)),
                NameRole::Reference(f) => {
                    Some(format!("that of what {} leads to", kind.fact(f).name))
                }
            };
            all.extend(name.map(|n| ("its name", n)));
        }
        let held = held_by(self.ruleset, id);
        if !held.is_empty() {
            let held: Vec<String> = held
                .into_iter()
                .map(|(k, f)| format!("{}.{}", v.kind(k).name, v.fact(k, f).name))
                .collect();
            places.push(format!("in place, as {}", held.join(", ")));
        }
        all.push(("where", places.join("; or ")));
        let words = opening(kind);
        if !words.is_empty() {
            all.push(("opened by", words.join(", ")));
        }
        let any = v.kinds.iter().filter(|k| k.any_of.contains(&id));
        let any: Vec<&str> = any.map(|k| k.name.as_str()).collect();
        if !any.is_empty() {
            all.push(("counts as", any.join(", ")));
        }
        all
    }

    /// A fact with all that is to be known for writing it. `name` is what its first line begins with.
    fn fact(&self, id: KindId, ix: FactIx, name: &str, indent: usize) -> String {
        let v = &self.ruleset.vocabulary;
        let fact = v.fact(id, ix);
        let also = if fact.also.is_empty() {
            String::new()
        } else {
            format!(" (also {})", fact.also.join(", "))
        };
        let mut out = wrapped(
            &format!("{name}{also}: "),
            &fact.texts.means,
            indent,
            self.width,
        );
        let blank = " ".repeat(indent);
        let mut line = |label: &str, said: &str| {
            let lead = format!("{blank}{label}");
            out.push_str(&wrapped(&lead, said, indent + 2, self.width));
        };
        let mut said = vec![form(v, fact)];
        said.extend(conditions(self.ruleset, id, ix));
        said.push(match role(self.ruleset, id, ix) {
            Role::Written => format!("settled by {}", fact.settled_by),
            Role::Derived | Role::Collected => "not to be written".to_owned(),
        });
        line("", &said.join("; "));
        if let (Some(series), Some(unit)) = (fact.series, fact.unit()) {
            line("only ", &members(v.series(series), unit));
        }
        let ways = unwritten(self.ruleset, id, ix);
        if !ways.is_empty() {
            line("not written: ", &ways.join("; else "));
        }
        if let Some(ask) = &fact.texts.ask {
            line("how: ", ask);
        }
        out
    }

    /// Facts that nobody writes: name, form, meaning.
    fn table(&self, id: KindId, facts: &[FactIx]) -> String {
        /// A form that is longer stands alone, and the meaning below it.
        const WIDEST: usize = 24;
        let v = &self.ruleset.vocabulary;
        let cells: Vec<(&Fact, String)> = facts
            .iter()
            .map(|ix| v.fact(id, *ix))
            .map(|f| (f, form(v, f)))
            .collect();
        let names = cells.iter().map(|(f, _)| f.name.chars().count());
        let names = names.max().unwrap_or(0);
        let forms = cells.iter().map(|(_, form)| form.chars().count());
        let forms = forms.filter(|n| *n <= WIDEST).max().unwrap_or(0);
        let mut out = String::new();
        let mut put = |lead: &str, said: &str| {
            out.push_str(&wrapped(lead, said, names + forms + 6, self.width));
        };
        for (fact, form) in &cells {
            let name = format!("  {:<names$}  ", fact.name);
            if form.chars().count() > forms {
                put(&name, form);
                put(&" ".repeat(names + forms + 6), &fact.texts.means);
            } else {
                put(&format!("{name}{form:<forms$}  "), &fact.texts.means);
            }
        }
        out
    }

    /// A fact with what it is worked out by and the rules that rest on it.
    fn whole_fact(&self, id: KindId, ix: FactIx) -> String {
        let v = &self.ruleset.vocabulary;
        let kind = v.kind(id);
        let fact = kind.fact(ix);
        let mut out = self.fact(id, ix, &format!("{}.{}", kind.name, fact.name), 2);
        if let Some(target) = fact.target() {
            let words = opening(v.kind(target));
            if !words.is_empty() {
                let list = words.join(", ");
                out.push_str(&wrapped("  opened by ", &list, 4, self.width));
            }
        }
        if let Some(d) = self.ruleset.derivation(id, ix) {
            out.push_str(&wrapped(
                "  worked out as ",
                d.formula.text(),
                4,
                self.width,
            ));
            for cited in [&d.origin.clause, &d.origin.source].into_iter().flatten() {
                out.push_str(&wrapped("    ", cited, 4, self.width));
            }
        }
        let readers = self.ruleset.readers(id, ix);
        let (named, carried): (Vec<_>, Vec<_>) = readers.into_iter().partition(|r| r.named);
        if !named.is_empty() {
            let _ = writeln!(out, "  rules that name it ({})", named.len());
            for r in &named {
                let lead = format!("    {}: ", r.rule.id);
                out.push_str(&wrapped(&lead, &r.rule.texts.title, 6, self.width));
            }
        }
        if !carried.is_empty() {
            let _ = writeln!(
                out,
                "  rules that rest on it through what is worked out ({})",
                carried.len()
            );
            let ids: Vec<&str> = carried.iter().map(|r| r.rule.id.as_str()).collect();
            out.push_str(&wrapped("    ", &ids.join(", "), 4, self.width));
        }
        if named.is_empty() && carried.is_empty() {
            out.push_str("  no rule rests on it\n");
        }
        out
    }
}

/// The words that open a part of a kind.
fn opening(kind: &Kind) -> Vec<&str> {
    kind.heads.iter().map(|h| h.word.as_str()).collect()
}
