//! What is shown of a word: its meaning, its value, how that is worked out.

use gen_lsp_types::{Hover, HoverParams};

use super::client::Part;
use super::context::{Context, Inside, judged, object_at};
use super::names::Names;
use super::rulesets;
use super::state::{State, View};
use crate::design::cursor::Standing;
use crate::design::model::ObjectId;
use crate::quantity::format_interval;
use crate::report::{terminal, words, working};
use crate::source::Span;
use crate::vocabulary::FactIx;

/// Columns of what is shown.
const WIDTH: usize = 80;

/// Answers what is known of a place.
pub(super) fn hover(state: &mut State, params: HoverParams) -> Option<Hover> {
    let at = &params.text_document_position_params;
    let Some((view, byte)) = state.place(at) else {
        return rulesets::hover(state, at);
    };
    let ruleset = view.loaded.ruleset.clone()?;
    let context = Context::new(view.text(), &ruleset.vocabulary, byte);
    if !context.is_written() || context.cursor.token.is_empty() {
        return None;
    }
    let mut parts = Vec::new();
    if let Some((kind, fact)) = context.of() {
        parts.push(Part::Code(words::fact(&ruleset, kind, fact, WIDTH)));
        let of = judged(&view).and_then(|(_, design)| object_at(design, view.file, byte, kind));
        parts.extend(of.and_then(|of| worth(&view, of, fact)));
    } else {
        parts.extend(kind_of(&ruleset.vocabulary, &context));
    }
    if !context.is_key() {
        parts.extend(thing(state, &view, byte));
    }
    let token = &context.cursor.token;
    let range = view.lines.range(view.text(), token.start, token.end);
    state.client.shown_at(range, &parts)
}

/// The value of a fact that is worked out, with its working; or as it is written.
fn worth(view: &View, of: ObjectId, fact: FactIx) -> Option<Part> {
    let installation = view.loaded.installation.as_ref()?;
    let (ruleset, design) = (installation.ruleset(), installation.design());
    let object = design.object(of);
    let declared = ruleset.vocabulary.fact(object.kind, fact);
    let written = object.written(fact);
    if written.is_none() && ruleset.derivation(object.kind, fact).is_some() {
        let working = installation.working(of, fact);
        return Some(Part::Code(working::text(
            std::slice::from_ref(&working),
            &view.loaded.sources,
        )));
    }
    let written = written?;
    let origin = written
        .origin
        .map_or(String::new(), |o| format!(" ({})", o.word()));
    let value = installation.value(&design.label(of), &declared.name, None)?;
    let value = format_interval(value.low, value.high, &value.unit);
    Some(Part::Code(format!(
        "{} of {} = {value}{origin}",
        declared.name,
        design.label(of)
    )))
}

/// What a word that opens a block or part is.
fn kind_of(v: &crate::vocabulary::Vocabulary, context: &Context<'_>) -> Option<Part> {
    let word = v.opened_by(context.token()).unwrap_or(context.token());
    let heads = matches!(context.cursor.standing, Standing::Entry | Standing::Head);
    let kind = v
        .kind_named(word)
        .filter(|_| heads && context.inside != Inside::Other)?;
    let kind = v.kind(kind);
    Some(Part::Text(format!("{}: {}", kind.name, kind.means)))
}

/// The thing that a name leads to, with its figures.
fn thing(state: &State, view: &View, byte: usize) -> Option<Part> {
    let (ruleset, design) = judged(view)?;
    let name = Names::new(&view.loaded).at(view, byte)?;
    let holds = |s: Span| {
        s.file == name.given.file
            && s.from() <= name.given.from()
            && name.given.until() <= s.until()
    };
    let of = design
        .ids()
        .find(|id| !design.object(*id).phantom && holds(design.object(*id).head))?;
    let object = design.object(of);
    let kind = ruleset.vocabulary.kind(object.kind);
    let mut out = format!("{} {}", kind.name, design.label(of));
    if let Some(label) = &object.label {
        out.push_str(&format!(" \"{label}\""));
    }
    out.push_str(&format!(": {}", kind.means));
    let judged = state.found(view).and_then(|f| f.checked.judged.as_ref());
    let figures = judged.iter().flat_map(|j| &j.report.figures);
    for f in figures.filter(|f| f.subject.id == of) {
        out.push_str(&format!("\n  {}", terminal::cells(f).join("  ").trim_end()));
    }
    Some(Part::Code(out))
}
