//! Parts, defines, parts files.

use super::*;

#[test]
fn parts_are_objects_of_their_own() {
    let design = sound(
        "circuit c { status: existing\n device: rcbo { In: 32 A }\n cables: twin-and-earth { length: 4 m }, armoured { status: new } }\n",
    );
    let device = object(&design, "device of c");
    assert_eq!(value(&design, "c", "device"), Possible::Object(device));
    assert_eq!(
        value(&design, "device of c", "form"),
        Possible::Words(WordSet::from_bits(0b10))
    );
    assert_eq!(design.object(device).status, Status::Existing);
    let second = object(&design, "cables 2 of c");
    assert_eq!(design.object(second).status, Status::New);
    assert_eq!(
        value(&design, "c", "cables"),
        Possible::List(vec![
            Possible::Object(object(&design, "cables 1 of c")),
            Possible::Object(second)
        ])
    );
    assert_eq!(design.nearest_named(second), object(&design, "c"));
}

#[test]
fn a_part_may_be_a_choice_or_unknown_or_absent() {
    let design = sound("circuit c { device: rcbo { In: 32 A } | mcb { In: 40 A } }\n");
    let Possible::OneOf(both) = value(&design, "c", "device") else {
        panic!("a choice");
    };
    assert_eq!(both.len(), 2);
    let design = sound("circuit c { cables: ?, (armoured | twin-and-earth)\n device: none }\n");
    assert_eq!(value(&design, "c", "device"), Possible::Absent);
    let Possible::List(cables) = value(&design, "c", "cables") else {
        panic!("a list");
    };
    assert_eq!(cables[0], Possible::Unknown);
    assert!(matches!(&cables[1], Possible::OneOf(two) if two.len() == 2));
}

#[test]
fn a_define_is_copied_at_each_use() {
    let text = "define house-rcbo as rcbo { In: 32 A | 40 A }\ncircuit a { device: house-rcbo }\ncircuit b { device: house-rcbo }\n";
    let design = sound(text);
    let (a, b) = (
        object(&design, "device of a"),
        object(&design, "device of b"),
    );
    assert_ne!(a, b);
    assert_eq!(
        value(&design, "device of a", "In"),
        value(&design, "device of b", "In")
    );
    assert_eq!(
        value(&design, "device of b", "form"),
        Possible::Words(WordSet::from_bits(0b10))
    );
    let head = design.object(b).head;
    assert_eq!(&text[head.from()..head.until()], "house-rcbo");
    assert!(
        head.from() > text.rfind("circuit b").expect("written"),
        "the place of the use"
    );
    let span = fact(&design, "device of b", "In").expect("written").span;
    assert_eq!(&text[span.from()..span.until()], "32 A | 40 A");
}

#[test]
fn a_mistake_in_a_define_is_reported_once() {
    assert_eq!(
        problems("define x as rcbo { In: 32 }\ncircuit a { device: x }\ncircuit b { device: x }\n"),
        [
            "error missing-unit: `In` takes a quantity in A, and `32` has no unit | 32 | =write `32 A`"
        ]
    );
}

#[test]
fn parts_that_cannot_be_are_reported() {
    assert_eq!(
        problems("circuit c { device: armoured { size: 6 mm² } }\n"),
        [
            "error wrong-part: `device` takes a device, and `armoured` opens a cable | armoured | =open it with `mcb`, `rcbo` or `fuse`"
        ]
    );
    assert_eq!(
        problems("circuit c { device: rcbbo { In: 6 A } }\n"),
        [
            "error unknown-part: `device` takes a device, and `rcbbo` is none | rcbbo | =did you mean `rcbo`? | =or define it once, as in `define rcbbo as mcb { … }`"
        ]
    );
    assert_eq!(
        problems("define house-rcbo as rcbo { }\ncircuit c { device: house-rccbo }\n"),
        [
            "error unknown-part: `device` takes a device, and `house-rccbo` is none | house-rccbo | =did you mean `house-rcbo`? | =or define it once, as in `define house-rccbo as mcb { … }`"
        ]
    );
    assert_eq!(
        problems(
            "define house-rcbo as rcbo { In: 32 A }\ncircuit c { device: house-rcbo { In: 6 A } }\n"
        ),
        [
            "error contradicts-product: `In` is something else in the product that this is | 6 A | 32 A <- the product says this | =leave it out, narrow what the product says, or name another product"
        ]
    );
    assert_eq!(
        problems("circuit c { device: rcbo, mcb }\n"),
        [
            "error one-part: `device` takes a device, and this is a list | rcbo, mcb | =write one of them, or alternatives with `|`"
        ]
    );
    assert_eq!(
        problems("circuit c { device: 32 A }\n"),
        [
            "error wrong-type: `device` takes a device as a part, and `32 A` is a quantity | 32 A | =write for example `device: mcb { … }`"
        ]
    );
    assert_eq!(
        problems("circuit c { device { In: 6 A } }\n"),
        [
            "error part-without-key: `device` is a part here, and no key says which | device <- expected `device` before it | =write `device: device { … }`"
        ]
    );
    assert_eq!(
        problems("circuit c { rcbo { In: 6 A } }\n"),
        [
            "error part-without-key: `rcbo` is a part here, and no key says which | rcbo <- expected `device` before it | =write `device: rcbo { … }`"
        ]
    );
    assert_eq!(
        problems("circuit c { device: rcbo { form: mcb } }\n"),
        [
            "error fact-set-twice: `form` is already set to something else by the word that opens the part | mcb | rcbo <- set by this | =leave it out, or open the part with another word"
        ]
    );
    assert_eq!(
        problems("circuit c { cables: (armoured, armoured) | armoured }\n"),
        [
            "error alternatives-of-rows: alternatives of whole lists cannot be written | (armoured, armoured) | =write the alternatives inside the list, as in `(a | b), c`"
        ]
    );
    assert_eq!(
        problems(
            "define a as armoured { joint: b }\ndefine b as armoured { joint: a }\ncircuit c { cables: a }\n"
        ),
        [
            "error circular-define: the define `a` holds itself: `a`, `b` and `a` | a | a <- defined here | =write one of the parts out in place"
        ]
    );
    assert_eq!(
        problems("define rcbo as rcbo { }\n"),
        [
            "error name-taken: `rcbo` already means something else | rcbo <- it opens a part or block of its own | =choose another name, such as `house-rcbo`"
        ]
    );
    assert_eq!(
        problems("circuit c { device: rcbo { circuit d { } } }\n"),
        [
            "error misplaced-block: a block stands inside a device, which is a part | circuit | =move it out, to the outermost level of the file"
        ]
    );
}

#[test]
fn a_bare_word_opens_a_part_without_facts() {
    let design = sound("charge-point x { dc-fault-protection: rdc-dd }\n");
    let id = object(&design, "dc-fault-protection of x");
    assert_eq!(
        value(&design, "x", "dc-fault-protection"),
        Possible::Object(id)
    );
}

#[test]
fn a_part_fact_also_takes_the_name_of_a_block() {
    let design = sound("electrode rod { R: 40 ohm }\nsupply second { electrode: rod }\n");
    let rod = object(&design, "rod");
    assert_eq!(value(&design, "second", "electrode"), Possible::Object(rod));
}

#[test]
fn parts_files_give_defines() {
    let parts = parse(FileId(1), "define house-rcbo as rcbo { In: 32 A }");
    let main = parse(FILE, "circuit c { device: house-rcbo }");
    let resolved = resolve(
        &[&parts.tree, &main.tree],
        &vocabulary(),
        &Settings::default(),
    );
    assert!(!resolved.problems.iter().any(Problem::is_error));
    let written = fact(&resolved.design, "device of c", "In").expect("written");
    assert_eq!(
        written.span.file,
        FileId(1),
        "the fact stands in the parts file"
    );
    assert_eq!(
        resolved
            .design
            .object(object(&resolved.design, "device of c"))
            .head
            .file,
        FILE
    );
}
