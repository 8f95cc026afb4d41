//! The questions of a survey as a page to fill in on site: it saves its answers as a table that
//! `amperule ask --answers` reads, and prints on a few sheets. It loads nothing and sends nothing.

use std::fmt::Write as _;

use data_encoding::BASE64;
use sha2::{Digest as _, Sha256};

use crate::answer::{Asked, AskedAs, Survey};
use crate::vocabulary::Settler;

use super::cautions;
use super::markup::escape;
use super::survey::{SheetHead, caution, heading};

const STYLE: &str = include_str!("survey_form.css");
const SCRIPT: &str = include_str!("survey_form.js");

/// Words up to so many are offered one by one, more of them in a list.
const TAPS: usize = 8;

/// A page to fill in, with the questions in the order of a visit.
#[must_use]
pub fn html(head: &SheetHead, asked: &[Asked], survey: &Survey) -> String {
    let title = escape(&format!("Site questions: {}", head.installation));
    let hash = |text: &str| BASE64.encode(&Sha256::digest(text.as_bytes()));
    let mut out = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src 'sha256-{}'; \
         style-src 'sha256-{}'; base-uri 'none'; form-action 'none'\">\
         <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
         <title>{title}</title><style>{STYLE}</style></head>\n<body>\n<h1>{title}</h1>\n",
        hash(SCRIPT),
        hash(STYLE)
    );
    let _ = writeln!(
        out,
        "<p>Rules: {}. What has a star a requirement waits for. The answers stay on this device until they are saved.</p>",
        escape(&head.rules)
    );
    out.push_str(&cautions::html());
    if !head.known.is_empty() {
        let _ = writeln!(
            out,
            "<details><summary>{} values are known already, to be confirmed</summary>\n<p>",
            head.known.len()
        );
        for (of, fact, value) in &head.known {
            let text = format!("{fact} of {of}: {value}");
            let _ = writeln!(out, "{}<br>", escape(&text));
        }
        out.push_str("</p></details>\n");
    }
    out.push_str("<form>\n");
    let mut number = 0;
    for settler in Settler::ALL {
        let questions: Vec<&Asked> = asked.iter().filter(|q| q.settled_by == settler).collect();
        if questions.is_empty() {
            continue;
        }
        let _ = writeln!(out, "<h2>{}</h2>", heading(settler));
        if let Some(c) = caution(settler) {
            let _ = writeln!(out, "<p class=\"warn\">{}</p>", escape(c));
        }
        out.push_str("<div class=\"cols\">\n");
        let mut last = "";
        for q in questions {
            if last != q.of {
                let also = match q.also.len() {
                    0 => String::new(),
                    n => format!(" and {n} more like it"),
                };
                let _ = writeln!(out, "<h3>{}{also}</h3>", escape(&q.of));
                last = &q.of;
            }
            row(&mut out, q, &mut number);
        }
        out.push_str("</div>\n");
    }
    out.push_str("<div class=\"save\"><button>Save the answers</button> <span id=\"count\"></span></div>\n</form>\n");
    if !survey.left_out.is_empty() {
        out.push_str("<h2>Not judged by these rules</h2>\n<ul>\n");
        for l in &survey.left_out {
            let text = format!("{}, of {} ({}; {})", l.what, l.subject, l.rule, l.severity);
            let _ = writeln!(out, "<li>{}</li>", escape(&text));
        }
        out.push_str("</ul>\n");
    }
    let _ = write!(out, "<script>{SCRIPT}</script>\n</body></html>\n");
    out
}

/// One question; of a part that is not written, what matters of it, each by itself.
fn row(out: &mut String, q: &Asked, number: &mut usize) {
    let must = if q.must { " must" } else { "" };
    if !q.inside.is_empty() {
        let _ = writeln!(
            out,
            "<div class=\"q{must}\"><span class=\"name\">{}</span>",
            name(q)
        );
        explained(out, q);
        if !q.usual.is_empty() {
            let own = Asked {
                label: "What it is".to_owned(),
                means: "What it is".to_owned(),
                how: None,
                input: AskedAs::Choice,
                inside: Vec::new(),
                ..q.clone()
            };
            row(out, &own, number);
        }
        for inner in q.parts() {
            row(out, inner, number);
        }
        out.push_str("</div>\n");
        return;
    }
    *number += 1;
    let kind = match q.input {
        AskedAs::Listed => "listed",
        AskedAs::Several => "several",
        _ => "one",
    };
    let unit = q.unit.as_deref().unwrap_or("");
    let _ = writeln!(
        out,
        "<div class=\"q{must}\" data-id=\"{}\" data-label=\"{}\" data-kind=\"{kind}\" data-unit=\"{}\">\
         <label class=\"name\" for=\"i{number}\">{}</label>",
        escape(&q.id),
        escape(&format!("{}, {}", q.label, q.of)),
        escape(unit),
        name(q)
    );
    explained(out, q);
    out.push_str("<div class=\"in\">");
    field(out, q, *number);
    if q.input != AskedAs::Listed {
        if q.settled_by == Settler::Test && q.input == AskedAs::Number {
            tick(out, "measured", "measured");
        }
        tick(out, "unknown", "don't know");
    }
    out.push_str("</div></div>\n");
}

fn name(q: &Asked) -> String {
    format!("{} <code>{}</code>", escape(&q.label), escape(&q.fact))
}

/// What it is and how it is found out.
fn explained(out: &mut String, q: &Asked) {
    if !q.means.eq_ignore_ascii_case(&q.label) {
        let _ = write!(out, "<span class=\"how\">{}</span>", escape(&q.means));
    }
    let mut long: Vec<&str> = q.how.as_deref().into_iter().collect();
    long.extend(q.open.iter().map(String::as_str));
    for text in long {
        let _ = write!(out, "<span class=\"how long\">{}</span>", escape(text));
    }
    for (lead, text) in [("known so far", &q.known), ("passes with", &q.passes)] {
        if let Some(text) = text {
            let _ = write!(out, "<span class=\"how\">{lead}: {}</span>", escape(text));
        }
    }
}

fn tick(out: &mut String, class: &str, text: &str) {
    let _ = write!(
        out,
        "<label class=\"box\"><input type=\"checkbox\" class=\"{class}\">{}</label>",
        escape(text)
    );
}

fn field(out: &mut String, q: &Asked, number: usize) {
    let one_of = matches!(q.input, AskedAs::Choice | AskedAs::Name);
    let (kind, mode) = match q.input {
        AskedAs::Listed => {
            let _ = write!(
                out,
                "<label class=\"box\"><input type=\"checkbox\" class=\"all\" id=\"i{number}\">yes, all are written down</label>"
            );
            return;
        }
        AskedAs::Choice | AskedAs::Name if q.usual.len() > TAPS => {
            let _ = write!(out, "<select id=\"i{number}\"><option></option>");
            for word in &q.usual {
                let _ = write!(out, "<option>{}</option>", escape(word));
            }
            out.push_str("</select>");
            return;
        }
        AskedAs::Date => ("date", ""),
        // A value may have its unit, a tolerance and where it is from behind it.
        AskedAs::Number if q.lines.is_empty() => ("text", " inputmode=\"decimal\""),
        _ => ("text", ""),
    };
    let hint = match (q.input, q.lines.is_empty()) {
        (AskedAs::Number, false) => " placeholder=\"L1 …, L2 …, L3 …\"",
        _ => "",
    };
    let _ = write!(
        out,
        "<input type=\"{kind}\" id=\"i{number}\" autocomplete=\"off\"{mode}{hint}>"
    );
    if let Some(unit) = &q.unit {
        let _ = write!(out, " {}", escape(unit));
    }
    // Of a long series nobody looks for the one to tap.
    let few = one_of || q.usual.len() <= 2 * TAPS || q.input == AskedAs::Several;
    let usual: &[String] = if few { &q.usual } else { &[] };
    if !usual.is_empty() {
        out.push_str("<span class=\"tap\">");
        for word in usual {
            let word = escape(word);
            let _ = write!(
                out,
                "<button type=\"button\" data-value=\"{word}\">{word}</button>"
            );
        }
        out.push_str("</span>");
    }
}
