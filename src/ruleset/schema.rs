//! The maps of a ruleset: what each is called in messages, and the keys that it may hold.

/// One of the maps.
pub(super) struct Shape {
    /// What messages call it.
    pub(super) what: &'static str,
    keys: &'static str,
}

impl Shape {
    /// The keys it may hold, in the order in which messages name them.
    pub(super) fn keys(&self) -> impl Iterator<Item = &'static str> {
        self.keys.split_whitespace()
    }
}

const fn shape(what: &'static str, keys: &'static str) -> Shape {
    Shape { what, keys }
}

/// The sections that any file of a ruleset may hold.
pub(super) fn sections() -> impl Iterator<Item = &'static str> {
    FILE.keys().skip_while(|k| *k != "kinds")
}

/// Whether a section holds a map by name; else it is a list.
pub(super) fn is_map(section: &str) -> bool {
    matches!(
        section,
        "kinds" | "limits" | "series" | "tables" | "assume" | "derive"
    )
}

/// Whether a later statement of a name replaces an earlier one; else it stands beside it.
pub(super) fn is_replaced(section: &str) -> bool {
    section == "rules" || section != "kinds" && is_map(section)
}

/// What stands at a place of a ruleset, and the keys it may hold: below the keys that lead there.
/// An item of a list stands below the key of the list.
#[must_use]
pub fn keys_at(path: &[&str]) -> Option<(&'static str, Vec<&'static str>)> {
    let shape = match path {
        [] => FILE,
        ["kinds", _] => KIND,
        ["kinds", _, "facts", _] => FACT,
        ["limits", _] => LIMIT,
        ["series", _] => SERIES,
        ["tables", _] => TABLE,
        ["tables", _, "keys", _] => TABLE_KEY,
        ["assume", _] => ASSUMPTION,
        ["derive", _] => DERIVATION,
        ["rules"] => RULE,
        ["amend"] => AMENDMENT,
        ["figures"] => FIGURE,
        ["mend"] => CHANGE,
        ["left-out"] => LEFT_OUT,
        ["expect"] => EXPECTATION,
        ["tell"] => TELLING,
        ["short"] => SHORT,
        ["products"] => PRODUCT,
        ["rules" | "amend", "follows-from"] => CAUSE,
        ["editions"] => EDITION,
        _ => return None,
    };
    Some((shape.what, shape.keys().collect()))
}

/// A file: its head, then sections.
pub(super) const FILE: Shape = shape(
    "a ruleset file",
    "ruleset title parent patches notes editions kinds limits series tables assume derive \
     rules figures amend withdraw mend left-out expect tell short products",
);
/// An entry of `kinds`.
pub(super) const KIND: Shape = shape(
    "a kind",
    "label means at-least within heads any-of part-only built bought name facts in",
);
/// A fact of a kind.
pub(super) const FACT: Shape = shape(
    "a fact",
    "is label means ask by domain plausible series exact optional always open inherits also \
     never-assumed requirable later replaces in",
);
/// An entry of `limits`.
pub(super) const LIMIT: Shape = shape(
    "a limit",
    "is means unit clause source in was because replaces confidence",
);
/// An entry of `series`.
pub(super) const SERIES: Shape = shape("a series", "is members means clause source in replaces");
/// An entry of `tables`.
pub(super) const TABLE: Shape = shape(
    "a table",
    "title means source clause keys gives columns rows in replaces confidence beyond",
);
/// A key of a table.
pub(super) const TABLE_KEY: Shape = shape("a key of a table", "is between beyond means series");
/// An entry of `assume`.
pub(super) const ASSUMPTION: Shape = shape(
    "an assumption",
    "is of-the-only means clause source in replaces because confidence",
);
/// An entry of `derive`.
pub(super) const DERIVATION: Shape = shape(
    "a derivation",
    "is means formula unless-written clause source in replaces optional because confidence \
     note series by also",
);
/// An entry of `rules`.
pub(super) const RULE: Shape = shape(
    "a rule",
    "id title stage severity each where require ways message open point-at help topic clause \
     source confidence because in departable follows-from note",
);
/// An entry of `amend`: what it changes of a rule.
pub(super) const AMENDMENT: Shape = shape("an amendment", RULE.keys);
/// An entry of `figures`.
pub(super) const FIGURE: Shape = shape("a figure", "is at-most at-least where in");
/// An entry of `mend`.
pub(super) const CHANGE: Shape = shape("a change", "is cost part to among only because in");
/// An entry of `left-out`.
pub(super) const LEFT_OUT: Shape = shape(
    "an entry of `left-out`",
    "what clause why in id each where severity topic help",
);
/// An entry of `expect`.
pub(super) const EXPECTATION: Shape = shape("an expected reading", "reads is up-to always in");
/// An entry of `tell`.
pub(super) const TELLING: Shape = shape("what is told", "to is as spare in");
/// An entry of `short`.
pub(super) const SHORT: Shape = shape(
    "what is said shortly",
    "of head unkeyed marks also opened-by asks in",
);
/// An entry of `products`.
pub(super) const PRODUCT: Shape = shape("a product", "name is means says source in");
/// An entry of `follows-from` of a rule.
pub(super) const CAUSE: Shape = shape("an entry of `follows-from`", "rule at to in");
/// An entry of `editions`.
pub(super) const EDITION: Shape = shape(
    "an edition",
    "id title usable-from required-from withdrawn-on parent-edition",
);
