//! Repetition, parameters, arithmetic.

use super::*;

#[test]
fn repeated_blocks_are_many() {
    let design = sound(
        "circuit bay[1..3] { fed-from: main\n lines: by-turn L1, L2\n device: rcbo { In: 32 A }\n cables: armoured { length: 4 m + n * 3 m } }\ncharge-point post[1..3] { circuit: bay[n] }\n",
    );
    assert_eq!(
        value(&design, "bay[3]", "lines"),
        Possible::Members(WordSet::from_bits(0b01))
    );
    assert_eq!(
        value(&design, "bay[2]", "lines"),
        Possible::Members(WordSet::from_bits(0b10))
    );
    assert_eq!(value(&design, "cables 1 of bay[2]", "length"), point(10.0));
    assert_ne!(
        object(&design, "device of bay[1]"),
        object(&design, "device of bay[2]")
    );
    assert_eq!(
        value(&design, "post[2]", "circuit"),
        Possible::Object(object(&design, "bay[2]"))
    );
    assert_eq!(
        problems("circuit bay[1..2] { }\ncharge-point x { circuit: bay }\n"),
        [
            "error which-of-many: `bay` is the name of several blocks | bay <- which one is meant? | =write `bay[1]` to `bay[2]`, `bay[n]` in a repeated block, or `bay[1..2]` where names are listed"
        ]
    );
    assert_eq!(
        problems("circuit bay[1..2] { }\ncharge-point x { circuit: bay[3] }\n"),
        ["error unknown-name: there is no `bay[3]` | bay[3] <- `bay` is numbered 1 to 2"]
    );
    assert_eq!(
        problems("circuit c { lines: by-turn L1, L2 }\n"),
        [
            "error by-turn-alone: `by-turn` stands in a block that is not repeated | by-turn L1, L2 | =repeat the block, as in `circuit bay[1..6] { … }`, or write one value"
        ]
    );
    assert_eq!(
        problems("circuit c { cables: armoured { length: n * 3 m } }\n"),
        [
            "error number-alone: `n` stands in a block that is not repeated | n | =repeat the block, as in `circuit bay[1..6] { … }`"
        ]
    );
    assert_eq!(
        problems("circuit bay[1..2] { lines: L7 }\n"),
        ["error unknown-word: `lines` cannot be `L7` | L7 <- expected any of `L1`, `L2` and `L3`"]
    );
    assert_eq!(
        problems("readings bay[1..2] { }\ncircuit bay[1..2] { }\n"),
        [""; 0]
    );
}

#[test]
fn repetition_has_an_end() {
    let lines = problems("board a[1..1000] { circuit b[1..1000] { } }\n");
    assert_eq!(
        lines,
        [
            "error too-many-objects: the design has 1001005 blocks, more than 20000 | board a[1..1000] <- this one stands for 1001000 of them | =split it into several designs, each an installation of its own"
        ]
    );
}

#[test]
fn arithmetic_over_parameters() {
    let design = sound(
        "parameter run: 5 m .. 40 m\ncircuit c { cables: armoured { length: run + 2 m }, armoured { length: run }, armoured { length: 2 * 3 m + 50 cm } }\n",
    );
    let run = ParameterId(0);
    assert_eq!(
        design.parameters[0].declared,
        Possible::Number(Interval::new(5.0, 40.0))
    );
    assert_eq!(design.parameters[0].unit, "m");
    assert_eq!(
        value(&design, "cables 1 of c", "length"),
        Possible::Formula(Formula::Binary(
            Arith::Add,
            Box::new(Formula::Parameter(run)),
            Box::new(Formula::Number(2.0))
        ))
    );
    assert_eq!(
        value(&design, "cables 2 of c", "length"),
        Possible::Formula(Formula::Parameter(run))
    );
    assert_eq!(value(&design, "cables 3 of c", "length"), point(6.5));
    let run = |length: &str| {
        problems(&format!(
            "parameter run: 5 m .. 40 m\ncircuit c {{ cables: armoured {{ length: {length} }} }}\n"
        ))
    };
    assert_eq!(
        run("run + 2"),
        [
            "error wrong-dimension: a length and a pure number cannot be added | 2 <- this is a pure number | run <- this is a length | =write the unit of the number"
        ]
    );
    assert_eq!(
        run("run * run"),
        [
            "error wrong-dimension: `length` is a length, and this is an area | run * run | =write for example `length: 10 m`"
        ]
    );
    assert_eq!(
        run("rum + 2 m"),
        [
            "error unknown-parameter: there is no parameter called `rum` | rum | =did you mean `run`? | =declare it, as in `parameter rum: 5 m .. 40 m`, outside of all blocks"
        ]
    );
    assert_eq!(
        run("1 m / 0 * 1"),
        ["error not-computable: this divides by zero | 0 | =write a value that can be worked out"]
    );
    assert_eq!(
        run("run - 90 m"),
        [
            "error outside-domain: `length` cannot be `-85 m` | run - 90 m | =it must be more than `0 m`"
        ]
    );
    assert_eq!(
        run("1 m .. run"),
        [
            "error parameter-in-set: a parameter cannot stand in a range or tolerance | run | =make the parameter itself the range, and write its name alone"
        ]
    );
}

#[test]
fn temperatures_are_added_to_differences_only() {
    assert_eq!(cable_fact("ambient", "25 °C + 5 K"), point(298.15 + 5.0));
    assert_eq!(cable_fact("rise", "30 °C - 20 °C"), point(303.15 - 293.15));
    let code = |written: &str| {
        let lines = cable_problems(&format!("ambient: {written}"));
        lines
            .iter()
            .filter_map(|l| l.split([' ', ':']).nth(1))
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(code("25 °C + 5 °C"), "wrong-unit");
    assert_eq!(code("2 * 25 °C"), "wrong-unit");
    assert_eq!(code("30 °C - 20 °C"), "wrong-unit");
}

#[test]
fn parameters_of_words_and_series() {
    let design = sound(
        "parameter kind: TT | TN-S2\nparameter awg: 8 AWG | 6 AWG\nparameter wired: yes | no\nsupply second { looped: wired\n meter-point: kind }\ncircuit c { cables: armoured { gauge: awg } }\n",
    );
    assert_eq!(
        design.parameters[0].declared,
        Possible::OneOf(vec![
            Possible::Text("TT".to_owned()),
            Possible::Text("TN-S2".to_owned())
        ])
    );
    assert_eq!(
        value(&design, "second", "looped"),
        Possible::Formula(Formula::Parameter(ParameterId(2)))
    );
    assert_eq!(
        problems("parameter kind: TT | TN-X\nsupply second { earthing: kind }\n"),
        [
            "error unknown-word: `earthing` cannot be `TN-X` | kind <- expected one of `TN-C-S`, `TN-S`, `TT` or `IT` | =did you mean `TN-S`?"
        ]
    );
    assert_eq!(
        problems(
            "parameter area: 4 mm² .. 10 mm²\ncircuit c { cables: armoured { size: area } }\n"
        ),
        [
            "error exact-only: `size` takes only the values of a series, and this parameter is a range | area | =let the parameter have the values themselves, as in `a | b`"
        ]
    );
    assert_eq!(
        problems("parameter area: 4 mm² | 7 mm²\ncircuit c { cables: armoured { size: area } }\n"),
        [
            "error not-in-series: `size` cannot be `7 mm²`: there is no such size | area | =the nearest are `6 mm²` and `10 mm²`"
        ]
    );
    assert_eq!(
        problems("parameter far: 5 ohm\ncircuit c { cables: armoured { length: far } }\n"),
        [
            "error wrong-dimension: `length` is a length, and `far` is a resistance | far | =write for example `length: 10 m`"
        ]
    );
    assert_eq!(
        problems("parameter far: 0 m .. 5 km\ncircuit c { cables: armoured { length: far } }\n"),
        [
            "caution implausible: `length` of `0 m` is unusual: it is mostly `0.1 m .. 1000 m` | far | =check the decimal point and the prefix of the unit"
        ]
    );
    assert_eq!(
        problems("parameter w: yes\nsupply second { Ze: w }\n"),
        [
            "error wrong-type: `Ze` takes a quantity in ohm, and the parameter `w` is something else | w | w <- declared here"
        ]
    );
    assert_eq!(
        problems("parameter which: a | b\ncharge-point x { circuit: which }\n"),
        [
            "error wrong-type: `circuit` takes a name, and `which` is a parameter | which | =write the name itself, or alternatives with `|`"
        ]
    );
}

/// What is counted stays whole in a calculation, too.
#[test]
fn a_calculation_gives_no_part_of_a_whole_number() {
    let of = |n: &str, cores: &str| {
        problems(&format!(
            "parameter k: {n}\ncircuit c {{ cables: armoured {{ cores: {cores} }} }}\n"
        ))
    };
    assert!(of("2 | 3", "k * 2 - 1").is_empty());
    for (n, cores) in [
        ("4 | 5", "k / 2"),
        ("1 .. 3", "k + 1"),
        ("2 | 3", "k * 1.5"),
    ] {
        assert_eq!(
            of(n, cores),
            [format!(
                "error not-whole: `cores` takes whole numbers, and this may give a part of one | {cores} | =let the parameter have whole numbers, as in `2 | 3`, and do not divide it"
            )]
        );
    }
}

#[test]
fn parameters_have_names_of_their_own() {
    assert_eq!(
        problems("parameter TT: 5 m\n"),
        [
            "error name-taken: a parameter cannot be called `TT` | TT <- it is a word of `earthing` of supply | =choose another name, such as `the-TT`"
        ]
    );
    assert_eq!(
        problems("parameter A: 5 m\n"),
        [
            "error name-taken: a parameter cannot be called `A` | A <- it is a word of `rcd-type` of device | =choose another name, such as `the-A`"
        ]
    );
    assert_eq!(
        problems("parameter main: 5 m\n"),
        [
            "error name-taken: a parameter cannot be called `main` | main <- a block has this name | board main <- this one | =choose another name, such as `the-main`"
        ]
    );
    assert_eq!(
        problems("parameter run: 5 m\nparameter run: 6 m\n"),
        [
            "error duplicate-name: there are two parameters called `run` | run <- again | run <- first here | =give one of them another name"
        ]
    );
    assert_eq!(
        problems("parameter run: ?\n"),
        [
            "error parameter-value: the parameter `run` needs the values it may take | ? <- expected a quantity, a range, words or a date | =write for example `parameter run: 5 m .. 40 m`"
        ]
    );
    assert_eq!(
        problems("parameter run: 5 m\nparameter far: run + 2 m\n"),
        [
            "error parameter-of-parameter: the parameter `far` rests on another one, `run` | run | =calculate where the parameters are used, as in `length: run + 2 m`"
        ]
    );
}

#[test]
fn set_narrows_what_is_declared() {
    let text = "parameter run: 5 m .. 40 m\nparameter how: C | 100\n";
    let whole = format!("{text}{REST}");
    let resolved = read_with(&whole, &[("run", "5 m .. 8 m"), ("how", "100")]);
    assert_eq!(resolved.problems, []);
    let parameters = &resolved.design.parameters;
    assert_eq!(
        parameters[0].value,
        Possible::Number(Interval::new(5.0, 8.0))
    );
    assert_eq!(
        parameters[0].declared,
        Possible::Number(Interval::new(5.0, 40.0))
    );
    assert_eq!(parameters[1].value, Possible::Text("100".to_owned()));
    assert_eq!(
        problems_with(text, &[("run", "60 m")]),
        [
            "error outside-declared: `run` cannot be `60 m`: it is declared as `5 .. 40 m` | (set) | run <- declared here | =set it to a value inside, or widen the declaration"
        ]
    );
    assert_eq!(
        problems_with(text, &[("run", "60")]),
        [
            "error missing-unit: `run` takes a quantity in m, and `60` has no unit | (set) | =write `60 m`"
        ]
    );
    assert_eq!(
        problems_with(text, &[("run", "6 ohm")]),
        [
            "error wrong-dimension: `run` is a length, and `6 ohm` is a resistance | (set) | =write for example `run: 10 m`"
        ]
    );
    assert_eq!(
        problems_with(text, &[("rum", "6 m")]),
        [
            "error unknown-parameter: the design has no parameter called `rum` | (set) | =did you mean `run`?"
        ]
    );
    assert_eq!(
        problems_with(text, &[("run", "6 m"), ("run", "7 m")]),
        ["error duplicate-set: `run` is set twice | (set) <- again | =leave one of them out"]
    );
    assert_eq!(
        problems_with(text, &[("how", "B")]),
        [
            "error outside-declared: `how` cannot be `B`: it is declared as `C | 100` | (set) | how <- declared here | =set it to a value inside, or widen the declaration"
        ]
    );
    assert_eq!(
        problems_with(text, &[("run", "6"), ("how", "5 m")]).len(),
        2
    );
    let exact = "parameter high: 220 V .. 240 V\nsupply second { U0: high }\n";
    assert_eq!(problems_with(exact, &[]), [""; 0]);
    assert_eq!(problems_with(exact, &[("high", "230 V")]), [""; 0]);
    assert_eq!(
        problems_with(exact, &[("high", "225 V .. 230 V")]),
        [
            "error exact-only: `U0` is exact, and this parameter is a range | high | =let the parameter have the values themselves, as in `a | b`"
        ]
    );
}
