//! The questions of a survey as a page to fill in on site: it saves its answers as a table that
//! `amperule ask --answers` reads, and prints on a few sheets. It loads nothing and sends nothing.

use std::borrow::Cow;

use askama::Template;
use data_encoding::BASE64;
use sha2::{Digest as _, Sha256};

use crate::answer::{Asked, AskedAs, Survey};
use crate::session::Installation;
use crate::vocabulary::Settler;

use super::cautions;
use super::markup::template;
use super::survey::{caution, heading};

const STYLE: &str = include_str!("survey_form.css");
const SCRIPT: &str = include_str!("survey_form.js");

/// Words up to so many are offered one by one, more of them in a list.
const TAPS: usize = 8;

template! {
    /// A page to fill in, with the questions in the order of a visit.
    pub fn html(installation: &'a Installation, asked: &'a [Asked], survey: &'a Survey)
        = "survey_form.html"
    with title: String = format!("Site questions: {}", installation.name());
    with known: Vec<(String, String, String)> = installation.known_facts();
    with groups: Vec<Group<'a>> = groups(asked, survey);
}

fn hash(text: &str) -> String {
    BASE64.encode(&Sha256::digest(text.as_bytes()))
}

/// The questions that one settles.
struct Group<'a> {
    heading: String,
    caution: Option<&'static str>,
    rows: Vec<Row<'a>>,
}

fn groups<'a>(asked: &'a [Asked], survey: &Survey) -> Vec<Group<'a>> {
    let mut number = 0;
    let mut all = Vec::new();
    for settler in Settler::ALL {
        let mut rows: Vec<Row<'_>> = Vec::new();
        for q in asked.iter().filter(|q| q.settled_by == settler) {
            let begins = rows.last().is_none_or(|before| before.q.of != q.of);
            let row = Row::new(Cow::Borrowed(q), &mut number);
            rows.push(Row { begins, ..row });
        }
        if !rows.is_empty() {
            let (heading, caution) = (heading(settler, &survey.network_operator), caution(settler));
            all.push(Group {
                heading,
                caution,
                rows,
            });
        }
    }
    all
}

/// One question; of a part that is not written, what matters of it, each by itself.
#[derive(Template)]
#[template(path = "survey_row.html")]
struct Row<'a> {
    q: Cow<'a, Asked>,
    /// By which its field is known on the page; of a part it has none.
    number: usize,
    inside: Vec<Row<'a>>,
    /// It is the first about a thing.
    begins: bool,
}

impl<'a> Row<'a> {
    fn new(q: Cow<'a, Asked>, number: &mut usize) -> Self {
        let mut inside = Vec::new();
        if q.inside.is_empty() {
            *number += 1;
        } else {
            let what = "What it is".to_owned();
            let own = || Asked {
                label: what.clone(),
                means: what,
                how: None,
                input: AskedAs::Choice,
                inside: Vec::new(),
                ..q.clone().into_owned()
            };
            let own = (!q.usual.is_empty()).then(own).map(Cow::Owned);
            let parts = q.parts().into_iter().cloned().map(Cow::Owned);
            inside.extend(own.into_iter().chain(parts).map(|q| Row::new(q, number)));
        }
        Self {
            number: *number,
            q,
            inside,
            begins: false,
        }
    }

    fn kind(&self) -> &'static str {
        match self.q.input {
            AskedAs::Listed => "listed",
            AskedAs::Several => "several",
            _ => "one",
        }
    }

    fn unit(&self) -> &str {
        self.q.unit.as_deref().unwrap_or("")
    }

    fn is_one_of(&self) -> bool {
        matches!(self.q.input, AskedAs::Choice | AskedAs::Name)
    }

    /// Whether its words are a list, since there are many.
    fn is_list(&self) -> bool {
        self.is_one_of() && self.q.usual.len() > TAPS
    }

    /// Words to tap. Of a long series nobody looks for the one.
    fn taps(&self) -> &[String] {
        let q = &self.q;
        let few = q.usual.len() <= 2 * TAPS || q.input == AskedAs::Several;
        if self.is_one_of() || few {
            &q.usual
        } else {
            &[]
        }
    }
}
