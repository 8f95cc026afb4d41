//! `products:`: generic products, each with the facts that are asked of what is bought.

use super::merged::Merged;
use super::reader::Fields;
use super::schema;
use crate::source::Problem;
use crate::vocabulary::{Product, Vocabulary};

/// Reads `products:` of all layers into the vocabulary; of one name, the latest layer's.
pub(super) fn products(merged: &Merged<'_>, v: &mut Vocabulary, problems: &mut Vec<Problem>) {
    for item in merged.of("products") {
        let Some(f) = Fields::new(item.node, item.at, &schema::PRODUCT, problems) else {
            continue;
        };
        let mut needed = |key| f.needed(key, problems).map(str::to_owned);
        let all = (
            needed("name"),
            needed("is"),
            needed("means"),
            needed("says"),
            needed("source"),
        );
        let (Some(name), Some(is), Some(means), Some(says), Some(source)) = all else {
            continue;
        };
        if v.kind_named(&is).is_none() && !v.head_words.contains_key(&is) {
            let why = format!("`{is}` opens no block or part");
            Problem::wrong("unknown-kind", f.at("is"), why)
                .did_you_mean(&is, v.kinds.iter().map(|k| k.name.as_str()))
                .report(problems);
            continue;
        }
        if v.kind_named(&name).is_some() || v.head_words.contains_key(&name) {
            let why = format!("`{name}` already means something else");
            Problem::error("name-taken", why)
                .at(f.at("name"), "it opens a part or block of its own")
                .report(problems);
            continue;
        }
        v.products.retain(|p| p.name != name);
        let span = f.at("says");
        v.products.push(Product {
            name,
            is,
            means,
            says,
            source,
            span,
        });
    }
}
