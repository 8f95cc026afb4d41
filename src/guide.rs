//! How each command is used and how a design is written: the pages that `amperule help` prints.

/// The JSON Schema of every answer that is given as JSON.
pub const SCHEMA: &str = include_str!("guide/answers.schema.json");

/// Declares a module and an entry of [`PAGES`] for each text.
macro_rules! pages {
    ($($module:ident $topic:literal $about:literal;)*) => {
        $(
            #[doc = include_str!(concat!("guide/", $topic, ".md"))]
            pub mod $module {}
        )*

        /// Every page: topic, what it is about, text (Markdown).
        pub const PAGES: &[(&str, &str, &str)] = &[
            $(($topic, $about, include_str!(concat!("guide/", $topic, ".md")))),*
        ];
    };
}

pages! {
    language "language" "how a design is written";
    check "check" "what is broken, and what is not known";
    json "json" "answers for programs, and their schema";
    ci "ci" "formats, baselines and project files for continuous integration";
    rows "rows" "one template, many houses";
    survey "survey" "what to find out, from whom, and how; typical jobs";
    bounds "bounds" "how far a fact can go";
    mend "mend" "the fewest changes after which nothing is in breach";
    prove "prove" "where a template holds";
    sheet "sheet" "what to build, and which readings to expect";
    order "order" "what to buy";
    compare "compare" "two editions, or two versions of a design";
    working "working" "where a figure and a rule come from";
    format "format" "the layout";
    exit_codes "exit-codes" "what each exit code means";
    rulesets "rulesets" "which rules there are, a firm's own, and hashes";
    limits "limits" "what is left out, and how sure an answer is";
    mistakes "mistakes" "each mistake and caution by its code";
}

/// The codes of all mistakes and cautions, each with what the page `mistakes` says of it.
pub fn mistakes() -> impl Iterator<Item = (&'static str, &'static str)> {
    let page = PAGES.iter().filter(|(topic, ..)| *topic == "mistakes");
    let entries = page.flat_map(|(.., text)| text.split("\n### ").skip(1));
    entries.filter_map(|entry| {
        let (code, text) = entry.split_once('\n')?;
        let text = text.split("\n## ").next()?;
        Some((code.trim(), text.trim()))
    })
}
