//! How expressions are read.

use amperule::expression::{Expr, ExprKind, parse};

fn show(e: &Expr) -> String {
    match &e.kind {
        ExprKind::Number { digits, unit } => match unit {
            Some((u, _)) => format!("{digits}_{u}"),
            None => digits.clone(),
        },
        ExprKind::Name(n) => n.clone(),
        ExprKind::Step(e, n, _) => format!("{}.{n}", show(e)),
        ExprKind::Unary(op, e) => format!("({op:?} {})", show(e)),
        ExprKind::Binary(op, a, b) => format!("({} {} {})", show(a), op.word(), show(b)),
        ExprKind::Present(e, p) => format!("({} present={p})", show(e)),
        ExprKind::If(c, a, b) => format!("(if {} {} {})", show(c), show(a), show(b)),
        ExprKind::AmongSet(e, w) => format!("({} among {})", show(e), w.len()),
        ExprKind::Aggregate { op, over, body, .. } => format!(
            "({} {}: {})",
            op.word(),
            show(over),
            body.as_deref().map_or(String::new(), show)
        ),
        other => format!("{other:?}"),
    }
}

fn shown(text: &str) -> String {
    parse(text).map_or_else(
        |e| format!("error at {:?}: {}", e.range, e.message),
        |e| show(&e),
    )
}

#[test]
fn precedence() {
    assert_eq!(
        shown("a + b * c ^ 2 <= d or not e and f"),
        "(((a + (b * (c ^ 2))) <= d) or ((Not e) and f))"
    );
    assert_eq!(shown("not x is present"), "(Not (x present=true))");
    assert_eq!(
        shown("not a among {x, y} and b"),
        "((Not (a among 2)) and b)"
    );
    assert_eq!(shown("-a.b * 3 m"), "((Negate a.b) * 3_m)");
    assert_eq!(shown("a else 0 A <= b"), "((a else 0_A) <= b)");
}

#[test]
fn the_else_of_a_condition_is_not_the_operator() {
    assert_eq!(shown("if a then b else c"), "(if a b c)");
    assert_eq!(
        shown("if a then sum c in x: c.y else 0 A"),
        "(if a (sum x: c.y) 0_A)"
    );
    assert_eq!(shown("if a then (b else c) else d"), "(if a (b else c) d)");
    assert_eq!(
        shown("if a then b else if c then d else e"),
        "(if a b (if c d e))"
    );
}

#[test]
fn units_stand_only_after_numbers() {
    assert_eq!(shown("10 mohm/m * length"), "(10_mohm/m * length)");
    assert_eq!(shown("0.00393 1/K * t"), "(0.00393_1/K * t)");
    assert_eq!(shown("70V / x"), "(70_V / x)");
    assert_eq!(shown("if a then 2 else 3"), "(if a 2 3)");
    assert_eq!(shown("5 % * x"), "(5_% * x)");
    assert_eq!(shown("x - 2.5 K·m/W"), "(x - 2.5_K·m/W)");
}

#[test]
fn slips_say_what_to_write() {
    let e = parse("a = b").unwrap_err();
    assert_eq!(
        (e.range.start, e.help.as_slice()),
        (2, &["a comparison is written `==`".to_owned()][..])
    );
    for (slip, help) in [
        ("a =< b", "`at most` is written `<=`"),
        ("a => b", "`at least` is written `>=`"),
        ("x <= n-1 A", "write blanks around a minus"),
        ("(a + b", "write the `)` that is missing"),
        ("a && b", "`and`, `or`, `not`"),
        ("a || b", "`and`, `or`, `not`"),
        ("!a", "`and`, `or`, `not`"),
    ] {
        let e = parse(slip).unwrap_err();
        assert!(e.help.iter().any(|h| h.contains(help)), "{slip}: {e:?}");
    }
    assert!(parse("a +").unwrap_err().help.is_empty());
    assert!(parse("a +").unwrap_err().message.contains("ends"));
    assert!(parse("").unwrap_err().message.contains("ends"));
    assert!(
        parse(&"(".repeat(2_000))
            .unwrap_err()
            .message
            .contains("nested")
    );
}
