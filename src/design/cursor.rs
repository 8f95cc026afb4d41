//! What stands around a place of a text, however little of it is written yet: for editors, where a
//! tree is often still to come. Only brackets, keys and words are looked at.

use std::ops::Range;

/// Brackets opened around a place: a block or a part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Level {
    /// The key in front of a part, `device`; none for a block.
    pub key: Option<Range<usize>>,
    /// The words in front of the bracket, behind that key: `rcbo`, or `circuit` and `ev`.
    pub words: Vec<Range<usize>>,
    /// The bracket.
    pub open: usize,
}

/// Where among these a place is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Where an entry begins: a key, or a word that opens a block.
    Entry,
    /// Behind the words of a head, where no key stands: `circuit ev`.
    Head,
    /// Behind a key.
    Value,
    /// In quotes.
    Quotes,
    /// In a comment.
    Comment,
}

/// A place in a text and what stands around it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cursor {
    /// The whole word that the place is in or behind, its hyphens included; empty between words.
    pub token: Range<usize>,
    /// Brackets around it, the outermost first.
    pub levels: Vec<Level>,
    /// The key whose value stands here; the word itself, where that is a key.
    pub key: Option<Range<usize>>,
    /// Words in front of it in the same head or value.
    pub before: Vec<Range<usize>>,
    /// Where it is.
    pub standing: Standing,
}

/// A character of a word, hyphens aside.
fn in_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_' || ('\u{300}'..='\u{36F}').contains(&c)
}

/// The word at a place: it may end there in a hyphen, where more is to be typed.
#[must_use]
pub fn token(text: &str, at: usize) -> Range<usize> {
    let part = |c: char| in_word(c) || c == '-';
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let (before, after) = text.split_at(at);
    let start = before.rfind(|c| !part(c)).map_or(0, |i| {
        i + before[i..].chars().next().map_or(1, char::len_utf8)
    });
    let end = at + after.find(|c| !part(c)).unwrap_or(after.len());
    let word = text.get(start..end).unwrap_or("");
    let start = start + (word.len() - word.trim_start_matches('-').len());
    // In front of a lone hyphen there is no word.
    if start > at { at..at } else { start..end }
}

/// What is open on one level.
#[derive(Clone, Debug, Default)]
struct Open {
    key: Option<Range<usize>>,
    words: Vec<Range<usize>>,
    /// The last sign that is no blank, if it is no word.
    sign: Option<char>,
}

impl Open {
    fn word(&mut self, word: Range<usize>, is_key: bool) {
        if self.sign == Some('}') || is_key {
            *self = Self::default();
        }
        if is_key {
            self.key = Some(word);
        } else {
            self.words.push(word);
        }
        self.sign = None;
    }

    fn sign(&mut self, sign: char) {
        match sign {
            '\n' | '\r' if matches!(self.sign, Some(',' | '|' | '(' | '+' | '*' | '/')) => {
                self.words.clear();
            }
            '\n' | '\r' => *self = Self::default(),
            ',' | '|' => {
                self.words.clear();
                self.sign = Some(sign);
            }
            c if c.is_whitespace() => {}
            // Behind a value comes the next entry, unless a sign goes on with it.
            _ => self.sign = Some(sign),
        }
    }
}

/// The sign that follows a place, blanks aside.
fn next_sign(text: &str, at: usize) -> Option<char> {
    let rest = text.get(at..)?;
    rest.chars()
        .find(|c| !matches!(c, ' ' | '\t' | '\u{A0}' | '\u{202F}' | '\u{2009}'))
}

/// Looks at what stands around a byte of a text.
#[must_use]
pub fn cursor(text: &str, at: usize) -> Cursor {
    let token = token(text, at);
    let mut levels: Vec<(Level, Open)> = Vec::new();
    let mut now = Open::default();
    let mut standing = None;
    let mut chars = text.char_indices().peekable();
    while let Some((i, c)) = chars.next() {
        if i >= token.start {
            break;
        }
        let end = match c {
            '"' => {
                let rest = text.get(i + 1..).unwrap_or("");
                let mut escaped = false;
                let close = rest.find(|c| {
                    let ends = !escaped && c == '"' || c == '\n';
                    escaped = !escaped && c == '\\';
                    ends
                });
                let end = close.map_or(text.len(), |n| i + 1 + n);
                if end >= at {
                    standing = Some(Standing::Quotes);
                    break;
                }
                now.sign = Some('"');
                end + usize::from(text.get(end..=end) == Some("\""))
            }
            '#' => {
                let rest = text.get(i..).unwrap_or("");
                let end = i + rest.find('\n').unwrap_or(rest.len());
                if end >= at {
                    standing = Some(Standing::Comment);
                    break;
                }
                end
            }
            '{' => {
                let level = Level {
                    key: now.key.clone(),
                    words: now.words.clone(),
                    open: i,
                };
                levels.push((level, std::mem::take(&mut now)));
                i + 1
            }
            '}' => {
                // One too many closes nothing.
                now = levels.pop().map(|(_, before)| before).unwrap_or_default();
                now.words.clear();
                now.sign = Some('}');
                i + 1
            }
            c if in_word(c) => {
                let word = self::token(text, i);
                now.word(word.clone(), next_sign(text, word.end) == Some(':'));
                word.end
            }
            c => {
                now.sign(c);
                i + c.len_utf8()
            }
        };
        while chars.next_if(|(i, _)| *i < end).is_some() {}
    }
    let is_key = !token.is_empty() && next_sign(text, token.end) == Some(':');
    // The value before it is at its end: what begins here is an entry.
    let ended = now.sign == Some('}');
    let standing = standing.unwrap_or(if is_key || ended {
        Standing::Entry
    } else if now.key.is_some() {
        Standing::Value
    } else if now.words.is_empty() {
        Standing::Entry
    } else {
        Standing::Head
    });
    Cursor {
        key: if is_key {
            Some(token.clone())
        } else {
            now.key.filter(|_| !ended)
        },
        before: if is_key || ended {
            Vec::new()
        } else {
            now.words
        },
        levels: levels.into_iter().map(|(level, _)| level).collect(),
        token,
        standing,
    }
}
