# The few commands of a contributor's day; `just` lists them.

_list:
    @just --list

# What must hold before a change lands.
ci:
    .ci/run

# The whole suite, as the README has it.
test *ARGS:
    cargo test --locked {{ARGS}}

# Formatting and lints.
lint:
    cargo fmt
    cargo clippy --locked --all-targets -- -D warnings

# The cases of one ruleset, with the branches that none has seen both ways.
rules RULESET='gb':
    cargo run --locked --quiet -- rules test --rules {{RULESET}} --coverage

# Writes the tables of what the rulesets encode and leave out.
tables:
    mkdir -p target/tables
    for rules in iec gb us; do cargo run --locked --quiet -- rules table --rules "$rules" > "target/tables/$rules.md"; done

# Snapshots of what the program prints, to be read before they are committed.
snapshots:
    INSTA_UPDATE=always cargo test --locked --test suite snapshots commands
    git diff -- tests

# The library as a guide.
doc:
    cargo doc --locked --no-deps --open

# The page with the engine inside: target/page/amperule.html; `just page test` tries it in Chromium.
page *ARGS:
    .ci/page {{ARGS}}

# Tries one promise on inputs without end, or for a time: `just fuzz every_answer_ends -max_total_time=600`.
fuzz TARGET *ARGS:
    mkdir -p tests/fuzz/corpus/{{TARGET}}
    RUSTC_BOOTSTRAP=1 cargo fuzz run --fuzz-dir tests/fuzz --sanitizer none {{TARGET}} tests/fuzz/corpus/{{TARGET}} examples tests/designs -- -dict=tests/fuzz/words.dict {{ARGS}}

# Puts COUNT small faults into the engine and counts those that the suite notices; many take hours.
mutants COUNT='300':
    cargo run --quiet --manifest-path tests/mutants/Cargo.toml -- {{COUNT}}
