//! The maps of a ruleset: what each is called in messages, and the keys that it may hold.

/// One of the maps.
pub struct Shape {
    /// What messages call it.
    pub what: &'static str,
    keys: &'static str,
}

impl Shape {
    /// The keys it may hold, in the order in which messages name them.
    pub fn keys(&self) -> impl Iterator<Item = &'static str> {
        self.keys.split_whitespace()
    }
}

const fn shape(what: &'static str, keys: &'static str) -> Shape {
    Shape { what, keys }
}

/// A section of a file: what it holds many of.
pub struct Section {
    /// Its key in the file.
    pub name: &'static str,
    /// Whether its entries stand in a map by name; else they are a list.
    pub by_name: bool,
    /// What each entry holds.
    pub entry: &'static Shape,
}

const fn by_name(name: &'static str, entry: &'static Shape) -> Section {
    Section {
        name,
        by_name: true,
        entry,
    }
}

const fn list(name: &'static str, entry: &'static Shape) -> Section {
    Section {
        name,
        by_name: false,
        entry,
    }
}

/// The sections that any file of a ruleset may hold.
pub const SECTIONS: [Section; 17] = [
    by_name("kinds", &KIND),
    by_name("limits", &LIMIT),
    by_name("series", &SERIES),
    by_name("tables", &TABLE),
    by_name("assume", &ASSUMPTION),
    by_name("derive", &DERIVATION),
    list("rules", &RULE),
    list("figures", &FIGURE),
    list("amend", &AMENDMENT),
    list("withdraw", &WITHDRAWAL),
    list("mend", &CHANGE),
    list("left-out", &LEFT_OUT),
    list("expect", &EXPECTATION),
    list("tell", &TELLING),
    list("short", &SHORT),
    list("products", &PRODUCT),
    list("editions", &EDITION),
];
/// What entries hold that are maps themselves: the map, and what stands in it.
pub const NESTED: [(&Shape, Section); 4] = [
    (&KIND, by_name("facts", &FACT)),
    (&TABLE, by_name("keys", &TABLE_KEY)),
    (&RULE, list("follows-from", &CAUSE)),
    (&AMENDMENT, list("follows-from", &CAUSE)),
];

/// The section of this name, unless it is `editions`, which belongs to the head.
pub(super) fn section(name: &str) -> Option<&'static Section> {
    SECTIONS
        .iter()
        .find(|s| s.name == name && s.name != "editions")
}

/// Whether a later statement of a name replaces an earlier one; else it stands beside it.
pub(super) fn is_replaced(section: &Section) -> bool {
    section.name == "rules" || section.name != "kinds" && section.by_name
}

/// What stands under a key of a map, where that holds maps itself.
#[must_use]
pub fn held(of: &Shape, key: &str) -> Option<&'static Section> {
    let file = SECTIONS.iter().filter(|_| of.what == FILE.what);
    let nested = NESTED.iter().filter(|(outer, _)| outer.what == of.what);
    let mut all = file.chain(nested.map(|(_, section)| section));
    all.find(|s| s.name == key)
}

/// What stands at a place of a ruleset: below the keys that lead there. An item of a list stands
/// below the key of the list.
#[must_use]
pub fn at(path: &[&str]) -> Option<&'static Shape> {
    let mut shape = &FILE;
    let mut rest = path.iter();
    while let Some(key) = rest.next() {
        let section = held(shape, key)?;
        if section.by_name {
            rest.next()?;
        }
        shape = section.entry;
    }
    Some(shape)
}

/// A file: its head, then sections.
pub const FILE: Shape = shape(
    "a ruleset file",
    "ruleset title parent patches notes network-operator editions kinds limits series tables assume derive \
     rules figures amend withdraw mend left-out expect tell short products",
);
/// An entry of `kinds`.
pub const KIND: Shape = shape(
    "a kind",
    "label means at-least within heads any-of part-only built bought name facts in",
);
/// A fact of a kind.
pub const FACT: Shape = shape(
    "a fact",
    "is label means ask by domain plausible series exact optional always open inherits also \
     never-assumed requirable later replaces in",
);
/// An entry of `limits`.
pub const LIMIT: Shape = shape(
    "a limit",
    "is means unit clause source in was because replaces confidence",
);
/// An entry of `series`.
pub const SERIES: Shape = shape("a series", "is members means clause source in replaces");
/// An entry of `tables`.
pub const TABLE: Shape = shape(
    "a table",
    "title means source clause keys gives columns rows in replaces confidence beyond",
);
/// A key of a table.
pub const TABLE_KEY: Shape = shape("a key of a table", "is between beyond means series");
/// An entry of `assume`.
pub const ASSUMPTION: Shape = shape(
    "an assumption",
    "is of-the-only means clause source in replaces because confidence",
);
/// An entry of `derive`.
pub const DERIVATION: Shape = shape(
    "a derivation",
    "is means formula unless-written clause source in replaces optional because confidence \
     note series by also",
);
/// An entry of `rules`.
pub const RULE: Shape = shape(
    "a rule",
    "id title stage severity each where require ways message open point-at help topic clause \
     source confidence because in departable follows-from note",
);
/// An entry of `amend`: what it changes of a rule.
pub const AMENDMENT: Shape = shape("an amendment", RULE.keys);
/// An entry of `withdraw`.
pub const WITHDRAWAL: Shape = shape("a withdrawal", "id because in");
/// An entry of `figures`.
pub const FIGURE: Shape = shape("a figure", "is at-most at-least where in");
/// An entry of `mend`.
pub const CHANGE: Shape = shape(
    "a change",
    "is cost part block beside to among only because in",
);
/// An entry of `left-out`.
pub const LEFT_OUT: Shape = shape(
    "an entry of `left-out`",
    "what clause why in id each where severity topic help confidence",
);
/// An entry of `expect`.
pub const EXPECTATION: Shape = shape("an expected reading", "reads is up-to always in");
/// An entry of `tell`.
pub const TELLING: Shape = shape("what is told", "to is as spare in");
/// An entry of `short`.
pub const SHORT: Shape = shape(
    "what is said shortly",
    "of head unkeyed marks also opened-by asks in",
);
/// An entry of `products`.
pub const PRODUCT: Shape = shape("a product", "name is means says source in");
/// An entry of `follows-from` of a rule.
pub const CAUSE: Shape = shape("an entry of `follows-from`", "rule at to in");
/// An entry of `editions`.
pub const EDITION: Shape = shape(
    "an edition",
    "id title usable-from required-from withdrawn-on parent-edition",
);
