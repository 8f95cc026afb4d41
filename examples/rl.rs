use amperule::ruleset::{Library, Request};
fn main() {
    let args: Vec<String> = std::env::args().collect();
    let lib = Library::new(vec![std::path::PathBuf::from("/work/main/rulesets")]);
    let edition = args.get(2).cloned();
    let loaded = lib.load(&Request { base: args[1].clone(), patches: vec![], edition, on: None });
    for p in &loaded.problems {
        println!("{:?}", p.message);
        for l in &p.labels {
            let f = &loaded.files[(l.span.file.0 - amperule::source::FileId::RULESET) as usize];
            let t = f.text();
            let line = t[..l.span.from()].matches('\n').count() + 1;
            println!("   {}:{} `{}` {}", f.name(), line, t.get(l.span.from()..l.span.until()).unwrap_or("").chars().take(60).collect::<String>(), l.text);
        }
        for h in &p.help { println!("   help: {h}"); }
    }
    if let Some(r) = loaded.ruleset { println!("ok {} rules {}", r.id, r.rules.len()); }
    println!("{} problems", loaded.problems.len());
}
