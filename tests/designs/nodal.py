"""Solves the circuits of three designs node by node with lcapy 1.26 (LGPL 2.1 or later), a general library for
the analysis of linear circuits; it knows nothing of wiring rules. Writes the vectors of nodal.csv.

    python3 -m venv env && env/bin/pip install lcapy==1.26
    env/bin/python tests/designs/nodal.py > tests/designs/nodal.csv

Each circuit is written as a netlist from the cable data of the design: resistance per kilometre of IEC 60228,
times 1 + (theta - 20 K)/250 K at temperature. Voltages and currents are r.m.s. values; reactance is left out as the
tool leaves it out. The tool's own formulas and its tabulated voltage drops appear nowhere here.
"""

import math
from importlib.metadata import version

from lcapy import Circuit

U0 = 230
HOT = {"XLPE": 1.28, "PVC": 1.20}
R20 = {1.5: 12.1, 4: 4.61, 6: 3.08, 10: 1.83, 35: 0.524}  # ohm/km


def ohms(size, metres, factor=1.0):
    return R20[size] * metres / 1000 * factor


class Net:
    """A netlist with numbered parts and sources of one frequency. Without reactance the real and the imaginary
    parts of all phasors do not meet, so that each is a circuit of direct current."""

    def __init__(self):
        self.parts = []

    def add(self, kind, a, b, value, degrees=None):
        name = f"{kind}{len(self.parts) + 1}"
        self.parts.append((name, a, b, value, degrees))
        return name

    def part(self, kind, a, b, value):
        return self.add(kind, a, b, value)

    def source(self, a, b, volts, degrees=0):
        return self.add("V", a, b, volts, degrees)

    def current(self, a, b, amps, degrees=0):
        """A load that draws a current from node a and gives it back at node b."""
        return self.add("I", b, a, amps, degrees)

    def solve(self):
        self.circuits = []
        for share in (math.cos, math.sin):
            text = []
            for name, a, b, value, degrees in self.parts:
                if degrees is None:
                    text.append(f"{name} {a} {b} {float(value)!r}")
                else:
                    text.append(f"{name} {a} {b} dc {value * share(math.radians(degrees))!r}")
            self.circuits.append(Circuit("\n".join(text)))
        return self

    def volts(self, a, b="0"):
        """Magnitude of the voltage between two nodes."""
        real, imaginary = (float(c[a].V.dc.fval - (0 if b == "0" else c[b].V.dc.fval)) for c in self.circuits)
        return math.hypot(real, imaginary)

    def amps(self, part):
        real, imaginary = (float(c[part].I.dc.fval) for c in self.circuits)
        return math.hypot(real, imaginary)


ROWS = []


def row(design, of, fact, value, unit, tolerance, difference):
    ROWS.append(f"{design}|{of}|{fact}|{value:.6g}|{unit}|{tolerance}|{difference}")


def three_sources(net, volts, star):
    for node, degrees in (("a", 0), ("b", -120), ("c", 120)):
        net.source(node, star, volts, degrees)


def garage():
    """One line: feed of 48 m 10 mm² XLPE, 6 A there, then 9 m of 4/1.5 mm² PVC and 32 A."""
    name = "long-garden-garage"
    feed, last = ohms(10, 48, HOT["XLPE"]), ohms(4, 9, HOT["PVC"])

    n = Net()
    n.source("s", "0", U0)
    n.part("R", "s", "g", feed)
    n.part("R", "h", "0", feed)
    n.part("R", "g", "p", last)
    n.part("R", "q", "h", last)
    n.current("g", "h", 6)
    n.current("p", "q", 32)
    n.solve()
    row(name, "ev", "total-drop", U0 - n.volts("p", "q"), "V", 0.5,
        "the tool takes the tabulated 4.7 and 11 mV/A/m, printed with two digits, for 4.68 and 11.06 of the resistances")

    n = Net()
    n.source("s", "0", 0.95 * U0)
    n.part("R", "s", "o", 0.145)  # half of Ze in the line, half in the PEN conductor
    n.part("R", "m", "0", 0.145)
    n.part("R", "o", "g", feed)
    n.part("R", "g", "p", last)
    n.part("R", "p", "e", ohms(1.5, 9, HOT["PVC"]))
    n.part("R", "e", "f", feed)
    fault = n.part("R", "f", "m", 1e-9)
    n.solve()
    row(name, "ev", "Ipf-min", n.amps(fault), "A", 0.001,
        "none: the same resistances in one loop; only rounding differs")

    n = Net()
    n.source("s", "0", 1.1 * U0)
    loop = 1.1 * U0 / 850
    n.part("R", "s", "o", loop / 2)
    n.part("R", "m", "0", loop / 2)
    n.part("R", "o", "g", ohms(10, 48))
    n.part("R", "g", "p", ohms(4, 9))
    n.part("R", "p", "q", ohms(4, 9))
    fault = n.part("R", "q", "r", 1e-9)
    n.part("R", "r", "m", ohms(10, 48))
    n.solve()
    row(name, "ev", "Ipf-max", n.amps(fault), "A", 0.001,
        "none: the same resistances in one loop; only rounding differs")

    # PEN open between the network and the installation: 19 + 6 + 32 A as resistances of 230 V over the current.
    n = Net()
    n.source("s", "0", U0)
    n.part("R", "s", "o", 0.145)
    n.part("R", "o", "m", U0 / 19)
    n.part("R", "o", "g", feed)
    n.part("R", "h", "m", feed)
    n.part("R", "g", "h", U0 / 6)
    n.part("R", "g", "p", last)
    n.part("R", "q", "h", last)
    n.part("R", "p", "q", U0 / 32)
    n.part("R", "m", "t", 1e6)  # no electrode
    n.part("R", "t", "0", 20)  # earth of the source
    n.solve()
    row(name, "supply", "touch-voltage", n.volts("m", "t"), "V", 0.01,
        "the source's earth of 20 ohm is here; beside the missing electrode it takes no voltage")


def bays():
    """Three lines: feed of 30 m 35 mm² XLPE, six points of one line each behind 6 mm² XLPE."""
    name = "granary-court-car-park"
    feed = ohms(35, 30, HOT["XLPE"])
    runs = {1: 8, 2: 11, 3: 14, 4: 17, 5: 20, 6: 23}
    angle = {"a": 0, "b": -120, "c": 120}

    def drop(amps):
        n = Net()
        three_sources(n, U0, "0")
        for line in "abc":
            n.part("R", line, f"{line}d", feed)
        n.part("R", "nd", "0", feed)
        for bay, metres in runs.items():
            if amps[bay] == 0:
                continue
            line = "abc"[(bay - 1) % 3]
            r = ohms(6, metres, HOT["XLPE"])
            n.part("R", f"{line}d", f"p{bay}", r)
            n.part("R", f"q{bay}", "nd", r)
            n.current(f"p{bay}", f"q{bay}", amps[bay], angle[line])
        n.solve()
        return U0 - n.volts("p6", "q6")

    # The cap of 48 A a line: 32 A at the far point, 16 A at the near one, and no car on the other lines, which
    # drops more than six cars do.
    alone = drop({1: 0, 2: 0, 3: 16, 4: 0, 5: 0, 6: 32})
    assert alone > drop({1: 16, 2: 16, 3: 16, 4: 32, 5: 32, 6: 32})
    row(name, "bay-6", "total-drop", alone, "V", 0.5,
        "the tool takes the tabulated 1.35 mV/A/m, which holds reactance, for 1.34 of the resistance, and 7.9 for 7.88")

    ze = 0.12
    n = Net()
    three_sources(n, 0.95 * U0, "0")
    for line in "abc":
        n.part("R", line, f"{line}o", ze / 2)
        n.part("R", f"{line}o", f"{line}d", feed)
        n.part("R", f"{line}d", "nd", 1e6)  # nothing else draws current
    n.part("R", "m", "0", ze / 2)
    n.part("R", "nd", "m", feed)
    r = ohms(6, 23, HOT["XLPE"])
    n.part("R", "cd", "p6", r)
    fault = n.part("R", "p6", "e6", 1e-9)
    n.part("R", "e6", "ed", r)
    n.part("R", "ed", "m", feed)
    n.solve()
    row(name, "bay-6", "Ipf-min", n.amps(fault), "A", 0.1,
        "a megohm stands for the unloaded lines; the tool adds the greatest reactance of the feeder of 35 mm²")

    def touch(service, electrode):
        n = Net()
        three_sources(n, U0, "0")
        for line, amps in zip("abc", (70, 66, 73)):
            n.part("R", line, f"{line}o", service)
            n.part("R", f"{line}o", "m", U0 / amps)
        n.part("R", "m", "t", electrode)
        n.part("R", "t", "0", 1)
        n.solve()
        return n.volts("m", "t")

    row(name, "supply", "touch-voltage", touch(1e-9, 1e6), "V", 0.01,
        "none but an earth of the source of 1 ohm: a star of three resistances, its middle off the earth")
    row(name, "supply", "touch-voltage", touch(0.06, 1e6), "V", 3,
        "0.06 ohm of the service in each line, which the tool leaves out: the fuller loads are damped by 2 %")


def chapel():
    """Three lines of unlike load, an electrode of 2.4 ohm, a point of three lines behind 24 m of 4 mm² XLPE."""
    name = "chapel-works-electrode"
    run = ohms(4, 24, HOT["XLPE"])
    angle = {"a": 0, "b": -120, "c": 120}

    n = Net()
    three_sources(n, U0, "0")
    for line in "abc":
        n.part("R", line, f"{line}p", run)
        n.current(f"{line}p", "q", 16, angle[line])
    n.part("R", "q", "0", run)
    n.solve()
    row(name, "ev", "total-drop", U0 - n.volts("ap", "q"), "V", 3,
        "the tool takes the tabulated 10 mV/A/m for 10.22 of the resistances, and 230/400 for 1/sqrt(3)")

    ze = 0.16
    n = Net()
    three_sources(n, 0.95 * U0, "0")
    n.part("R", "a", "ao", ze / 2)
    n.part("R", "b", "bo", ze / 2)
    n.part("R", "c", "co", ze / 2)
    n.part("R", "bo", "m", 1e6)
    n.part("R", "co", "m", 1e6)
    n.part("R", "m", "0", ze / 2)
    n.part("R", "m", "t", 2.4)  # the electrode and the source's earth beside the PEN conductor
    n.part("R", "t", "0", 1)
    n.part("R", "ao", "p", run)
    fault = n.part("R", "p", "e", 1e-9)
    n.part("R", "e", "m", run)
    n.solve()
    row(name, "ev", "Ipf-min", n.amps(fault), "A", 0.6,
        "the electrode and the earth of the source, 3.4 ohm, lie beside the 0.08 ohm of the PEN conductor: 0.4 % more current")

    def touch(service, source, loads=(60, 22, 30)):
        n = Net()
        three_sources(n, U0, "0")
        for line, amps in zip("abc", loads):
            n.part("R", line, f"{line}o", service)
            n.part("R", f"{line}o", "m", U0 / amps if amps else 1e9)
        n.part("R", "m", "t", 2.4)
        n.part("R", "t", "0", source)
        n.solve()
        return n.volts("m", "t")

    row(name, "supply", "touch-voltage", touch(1e-9, 1e-9), "V", 0.001,
        "none: star of three resistances, electrode from its middle to a perfect earth of the source")
    row(name, "supply", "touch-voltage-uneven", touch(1e-9, 1e-9, (60, 0, 0)), "V", 0.001,
        "none: one resistance in series with the electrode; a gigohm stands for the lines without load")
    row(name, "supply", "touch-voltage", touch(0.08, 1e-9), "V", 3,
        "0.08 ohm of the service in each line, which the tool leaves out: the largest load is damped by 2 %")


garage()
bays()
chapel()
print(f"# lcapy {version('lcapy')}, nodal analysis of the circuits of three designs; written by nodal.py")
print("# tolerance in percent of the value: what the difference of the models explains")
print("design|of|fact|value|unit|tolerance|difference")
print("\n".join(ROWS))
