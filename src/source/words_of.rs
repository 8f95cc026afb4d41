//! The words that reports and files use for the variants of an enum, each stated once.

/// `words! { enum Stage { Survey = "survey", Design = "design" } }` declares an enum and gives it its
/// variants in this order (`ALL`), the word of each (`word`, `Display`) and the way back
/// (`from_word`).
macro_rules! words {
    (
        $(#[$about:meta])*
        $seen:vis enum $name:ident { $($(#[$means:meta])* $variant:ident = $word:literal),+ $(,)? }
    ) => {
        $(#[$about])*
        $seen enum $name { $($(#[$means])* $variant),+ }

        impl $name {
            /// All of them, in order.
            pub const ALL: [Self; [$($word),+].len()] = [$(Self::$variant),+];

            /// The word that stands for it.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word),+
                }
            }

            /// The one with this word.
            #[must_use]
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|x| x.word() == word)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}

pub(crate) use words;
