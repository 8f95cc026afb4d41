//! A small vocabulary for the tests of resolving.

use amperule::quantity::Unit;
use amperule::source::{FileId, Span};
use amperule::vocabulary::{
    Bounds, Fact, FactIx, FactTexts, FactType, Head, Kind, KindId, Member, NameRole, Series,
    SeriesId, Vocabulary, Within,
};

const NOWHERE: Span = Span {
    file: FileId(FileId::RULESET),
    start: 0,
    end: 0,
};

const NAMES: [&str; 15] = [
    "installation",
    "supply",
    "board",
    "circuit",
    "device",
    "cable",
    "charge-point",
    "bond",
    "readings",
    "load-limiter",
    "dc-detection",
    "node",
    "load",
    "electrode",
    "joint",
];

fn id(name: &str) -> KindId {
    let place = NAMES
        .iter()
        .position(|n| *n == name)
        .expect("a kind of the test vocabulary");
    KindId(u16::try_from(place).expect("few kinds"))
}

fn unit(text: &str) -> Unit {
    if text.is_empty() {
        Unit::ONE
    } else {
        Unit::parse(text).expect("a unit")
    }
}

fn fact(name: &str, ty: FactType) -> Fact {
    let optional = matches!(
        ty,
        FactType::Part(_) | FactType::Parts(_) | FactType::Reference(_) | FactType::References(_)
    );
    Fact {
        texts: FactTexts::of(name, &format!("what is meant by {name}")),
        optional,
        ..Fact::plain(name, ty, NOWHERE)
    }
}

fn quantity(name: &str, text: &str) -> Fact {
    fact(
        name,
        FactType::Quantity {
            unit: unit(text),
            per_line: false,
            whole: false,
        },
    )
}

fn per_line(name: &str, text: &str) -> Fact {
    fact(
        name,
        FactType::Quantity {
            unit: unit(text),
            per_line: true,
            whole: false,
        },
    )
}

fn whole(name: &str) -> Fact {
    let ty = FactType::Quantity {
        unit: Unit::ONE,
        per_line: false,
        whole: true,
    };
    Fact {
        exact: true,
        ..fact(name, ty)
    }
}

fn words(text: &str) -> amperule::vocabulary::Words {
    std::sync::Arc::new(text.split(' ').map(str::to_owned).collect())
}

fn choice(name: &str, text: &str) -> Fact {
    fact(
        name,
        FactType::Choice {
            words: words(text),
            ordered: false,
        },
    )
}

trait With {
    fn domain(self, lo: f64, hi: f64, lo_open: bool) -> Self;
    fn plausible(self, lo: f64, hi: f64) -> Self;
    fn exact(self) -> Self;
    fn series(self, place: u16) -> Self;
}

impl With for Fact {
    fn domain(mut self, lo: f64, hi: f64, lo_open: bool) -> Self {
        self.domain = Bounds {
            lo,
            hi,
            lo_open,
            hi_open: false,
        };
        self
    }

    fn plausible(mut self, lo: f64, hi: f64) -> Self {
        self.plausible = Some(Bounds {
            lo,
            hi,
            lo_open: false,
            hi_open: false,
        });
        self
    }

    fn exact(mut self) -> Self {
        self.exact = true;
        self
    }

    fn series(mut self, place: u16) -> Self {
        self.series = Some(SeriesId(place));
        self
    }
}

fn kind(name: &str, facts: Vec<Fact>) -> Kind {
    Kind {
        name: name.to_owned(),
        label: name.to_owned(),
        means: String::new(),
        at_least: 0,
        within: Vec::new(),
        heads: Vec::new(),
        any_of: Vec::new(),
        part_only: false,
        built: false,
        bought: false,
        name_role: NameRole::Free,
        facts: facts.into(),
        span: NOWHERE,
    }
}

/// Heads that set the first fact, a choice, to their own word.
fn heads(kind: &mut Kind) {
    let words = kind.facts[0].words().expect("a choice").clone();
    kind.heads = words
        .iter()
        .zip(0_u8..)
        .map(|(word, place)| Head {
            word: word.clone(),
            sets: vec![(FactIx(0), place)],
        })
        .collect();
    kind.part_only = true;
}

fn within(kind: &mut Kind, outer: &str, fact: &str) {
    let sets = kind.fact_named(fact).expect("a fact");
    kind.within.push(Within {
        kind: id(outer),
        sets,
    });
}

pub fn vocabulary() -> Vocabulary {
    let inf = f64::INFINITY;
    let mut installation = kind(
        "installation",
        vec![
            choice("premises", "dwelling shop"),
            fact("rules", FactType::Text),
            fact("edition", FactType::Text),
            fact("designed-on", FactType::Date),
        ],
    );
    installation.at_least = 1;
    let mut supply = kind(
        "supply",
        vec![
            choice("earthing", "TN-C-S TN-S TT IT"),
            quantity("U0", "V")
                .exact()
                .domain(50.0, 600.0, false)
                .plausible(100.0, 300.0),
            quantity("Ze", "ohm")
                .domain(0.0, inf, false)
                .plausible(0.01, 250.0),
            quantity("Ipf", "kA").domain(0.0, inf, true),
            per_line("agreed-demand", "A").domain(0.0, inf, false),
            fact("looped", FactType::YesNo),
            fact("meter-point", FactType::Text),
            fact("seen-on", FactType::Date),
            fact("electrode", FactType::Part(id("electrode"))),
        ],
    );
    supply.at_least = 1;
    let mut board = kind(
        "board",
        vec![
            fact("fed-from", FactType::Reference(id("node"))),
            fact(
                "circuits",
                FactType::Reverse {
                    kind: id("circuit"),
                    fact: FactIx(0),
                },
            ),
            fact("main-switch", FactType::Part(id("device"))),
        ],
    );
    board.at_least = 1;
    let mut zs = quantity("Zs", "ohm");
    zs.writable = false;
    let mut circuit = kind(
        "circuit",
        vec![
            fact("fed-from", FactType::Reference(id("node"))),
            fact(
                "lines",
                FactType::Some {
                    words: words("L1 L2 L3"),
                },
            ),
            fact("device", FactType::Part(id("device"))),
            fact("cables", FactType::Parts(id("cable"))),
            zs,
            per_line("demand", "A"),
        ],
    );
    circuit.at_least = 1;
    within(&mut circuit, "board", "fed-from");
    let mut residual = quantity("IΔn", "mA");
    residual.also.push("Idn".to_owned());
    let mut device = kind(
        "device",
        vec![
            choice("form", "mcb rcbo fuse"),
            quantity("In", "A")
                .exact()
                .domain(0.0, inf, true)
                .plausible(6.0, 125.0),
            choice("curve", "B C D"),
            choice("rcd-type", "AC A F B"),
            residual,
            choice("delay", "none S G"),
        ],
    );
    heads(&mut device);
    let mut cable = kind(
        "cable",
        vec![
            choice("form", "twin-and-earth armoured"),
            quantity("size", "mm²").series(0),
            quantity("gauge", "mm²").series(1),
            quantity("length", "m")
                .domain(0.0, inf, true)
                .plausible(0.1, 1000.0),
            choice("method", "A B C 100 101"),
            whole("cores").domain(1.0, 7.0, false),
            quantity("ambient", "°C").plausible(263.15, 343.15),
            quantity("rise", "K"),
            quantity("fill", "%").domain(0.0, 1.0, false),
            fact("joint", FactType::Part(id("cable"))),
        ],
    );
    heads(&mut cable);
    let mut point = kind(
        "charge-point",
        vec![
            fact("circuit", FactType::Reference(id("circuit"))),
            quantity("In", "A"),
            fact(
                "ip-code",
                FactType::Choice {
                    words: words("IP44 IP54 IP65"),
                    ordered: true,
                },
            ),
            fact("dc-fault-protection", FactType::Part(id("dc-detection"))),
        ],
    );
    point.at_least = 1;
    let mut bond = kind(
        "bond",
        vec![choice("is", "water gas other"), quantity("from-entry", "m")],
    );
    bond.name_role = NameRole::Choice(FactIx(0));
    let mut readings = kind(
        "readings",
        vec![
            fact("of", FactType::Reference(id("circuit"))),
            quantity("trip-time", "ms"),
        ],
    );
    readings.name_role = NameRole::Reference(FactIx(0));
    let limiter = kind(
        "load-limiter",
        vec![
            fact("members", FactType::References(id("charge-point"))),
            fact("guards", FactType::References(id("node"))),
        ],
    );
    let mut detection = kind("dc-detection", vec![choice("form", "rdc-dd")]);
    heads(&mut detection);
    let mut node = kind("node", Vec::new());
    node.any_of = vec![id("supply"), id("board"), id("circuit")];
    let mut load = kind(
        "load",
        vec![
            fact("on", FactType::Reference(id("circuit"))),
            quantity("power", "kW"),
        ],
    );
    within(&mut load, "circuit", "on");
    let electrode = kind("electrode", vec![quantity("R", "ohm")]);
    let joint = kind("joint", Vec::new());
    let kinds = vec![
        installation,
        supply,
        board,
        circuit,
        device,
        cable,
        point,
        bond,
        readings,
        limiter,
        detection,
        node,
        load,
        electrode,
        joint,
    ];
    let kind_names = kinds
        .iter()
        .map(|k| (k.name.clone(), id(&k.name)))
        .collect();
    let head_words = kinds
        .iter()
        .flat_map(|k| {
            let owner = id(&k.name);
            k.heads
                .iter()
                .enumerate()
                .map(move |(place, h)| (h.word.clone(), (owner, place)))
        })
        .collect();
    Vocabulary {
        kinds,
        series: series(),
        kind_names,
        head_words,
        series_names: [("size", 0), ("gauge", 1)]
            .into_iter()
            .map(|(name, place)| (name.to_owned(), SeriesId(place)))
            .collect(),
        ..Vocabulary::default()
    }
}

fn series() -> Vec<Series> {
    let size = ["1.5", "2.5", "4", "6", "10", "16"].map(|digits| Member {
        value: amperule::quantity::parse_quantity(digits, &unit("mm²")).expect("a size"),
        name: None,
    });
    let gauge = [
        ("8.367", "8 AWG"),
        ("13.3", "6 AWG"),
        ("53.49", "1/0 AWG"),
        ("126.7", "250 kcmil"),
    ]
    .map(|(digits, name)| Member {
        value: amperule::quantity::parse_quantity(digits, &unit("mm²")).expect("a size"),
        name: Some(name.to_owned()),
    });
    let series = |name: &str, members: Vec<Member>| Series {
        name: name.to_owned(),
        unit: unit("mm²"),
        members,
    };
    vec![
        series("size", size.to_vec()),
        series("gauge", gauge.to_vec()),
    ]
}
