#!/usr/bin/env python3
"""What a few fixed runs cost in processor instructions, which repeat where times do not:

    cargo build --release --locked && python3 tests/benches/instructions.py

counts them by `valgrind --tool=callgrind`, prints each beside `instructions.csv` and fails where one
is more than 5 % above it; `--write` writes the table anew. Another compiler makes other code, so that
the table holds for compilers of the minor version that it names; by another one nothing is compared.
"""
import csv
import os
import pathlib
import re
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
TABLE = ROOT / 'tests/benches/instructions.csv'
PROGRAM = pathlib.Path(os.environ.get('CARGO_TARGET_DIR', ROOT / 'target')) / 'release/amperule'
# How far above the table a count may be.
MOST = 1.05
ONE = 'examples/quarry-cottage.amp'


def compiler():
    """`1.95` of `rustc 1.95.0 (…)`."""
    said = subprocess.run(['rustc', '--version'], cwd=ROOT, capture_output=True, text=True, check=True)
    return re.search(r'\d+\.\d+', said.stdout)[0]


def counted(arguments):
    """Instructions of one run; the least of three, since what a second thread does is not the same
    each time."""
    return min(once(arguments) for _ in range(3))


def once(arguments):
    with tempfile.TemporaryDirectory() as folder:
        out = f'--callgrind-out-file={folder}/out'
        run = ['valgrind', '--tool=callgrind', out, PROGRAM, *arguments]
        # The C library copies memory by what a processor can do: the same on each here.
        env = {**os.environ, 'GLIBC_TUNABLES': 'glibc.cpu.hwcaps=-AVX2,-AVX512F,-AVX512VL,-ERMS,-FSRM'}
        done = subprocess.run(run, cwd=ROOT, env=env, stdin=subprocess.DEVNULL, capture_output=True, text=True)
    found = re.search(r'Collected : (\d+)', done.stderr)
    if not found:
        sys.exit(f'{" ".join(map(str, run))} came to nothing:\n{done.stderr}')
    return int(found[1])


def runs(folder):
    """Each run by its name."""
    park = f'{folder}/park.amp'
    subprocess.run([sys.executable, ROOT / 'tests/benches/car_park.py', park, '60', '9'], check=True)
    return {
        'nothing: --version': ['--version'],
        'one file, as text': ['check', ONE],
        'one file, as JSON': ['check', '--format', 'json', ONE],
        'one file, with margins': ['check', '--full', ONE],
        'one file that leaves a device to the rules': ['check', 'examples/larch-bank.amp'],
        'survey of one file': ['survey', 'examples/half-filled-survey.amp'],
        '60 points, as text': ['check', park],
        '60 points, mended': ['mend', park],
    }


def main():
    if not PROGRAM.exists():
        sys.exit(f'{PROGRAM} is not there: cargo build --release --locked')
    now, wrong = compiler(), []
    with tempfile.TemporaryDirectory() as folder:
        counts = {name: counted(arguments) for name, arguments in runs(folder).items()}
    if sys.argv[1:] == ['--write']:
        with TABLE.open('w', newline='') as file:
            table = csv.writer(file, lineterminator='\n')
            table.writerow(['run', f'rustc {now}'])
            table.writerows(counts.items())
    with TABLE.open(newline='') as file:
        (_, of), *rows = csv.reader(file)
    known = {name: int(count) for name, count in rows}
    same = of == f'rustc {now}'
    for name, count in counts.items():
        before = known.get(name)
        ratio = f'{count / before:6.3f}' if before else 'no row'
        print(f'{name:42} {count / 1e6:9.2f} M  table {(before or 0) / 1e6:9.2f} M  {ratio}')
        if before is None or count > MOST * before:
            wrong.append(name)
    if not same:
        print(f'the table is of {of}, this is rustc {now}: nothing is compared')
    elif wrong:
        sys.exit(f'more than the table and 5 %: {", ".join(wrong)} (`--write` if that is meant)')


if __name__ == '__main__':
    main()
