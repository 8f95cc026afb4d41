"""Solves fault loops of made-up networks with general solvers of power systems and circuits, which know nothing of wiring
rules, and writes networks.csv.

    python3 -m venv env && env/bin/pip install pandapower==3.5.6 opendssdirect.py==0.9.4 lcapy==1.26
    env/bin/python tests/solvers/networks.py > tests/solvers/networks.csv

Each cable is written from its data: resistance per kilometre of IEC 60228, times 1 + (theta - 20 K)/250 K where it is hot, and a
reactance per kilometre that is an assumed input, not of a standard. What a source, a transformer and cables come to behind each other is
left to the solver:

- pandapower (IEC 60909 module): greatest current of a fault between three lines, cold, c = 1.1;
- OpenDSS: earth fault loop at 230 V, conductors hot, from the current that flows through a fault to earth;
- lcapy: loop of line and neutral, hot, by nodal analysis in phasors.
"""

import math
import warnings
from importlib.metadata import version

warnings.filterwarnings("ignore")
import opendssdirect as dss
import pandapower as pp
import pandapower.shortcircuit as sc
from lcapy import Circuit

U0 = 230.0
HOT = {"PVC": 1.20, "XLPE": 1.28}
R20 = {6: 3.08, 10: 1.83, 16: 1.15, 25: 0.727, 35: 0.524, 50: 0.387, 70: 0.268, 95: 0.193, 120: 0.153, 150: 0.124, 185: 0.0991,
       240: 0.0754}
X = {6: 0.097, 10: 0.091, 16: 0.086, 25: 0.080, 35: 0.0775, 50: 0.0775, 70: 0.075, 95: 0.075, 120: 0.0725, 150: 0.0725,
     185: 0.0725, 240: 0.070}

# name, lines, fault current at the source in kA, share of it that is reactance, earth fault loop of the source in ohm,
# transformer (kVA, uk %, ur %) or none, cables (line, protective conductor in mm², metres, insulation) one behind the other.
NETWORKS = [
    ("cottage", 1, 1.6, 0.30, 0.20, None, [(6, 6, 18, "PVC")]),
    ("cottage-far", 1, 0.9, 0.60, 0.30, None, [(10, 10, 45, "XLPE")]),
    ("mews", 1, 3.0, 0.80, 0.11, None, [(16, 16, 12, "XLPE"), (6, 6, 22, "XLPE")]),
    ("arcade", 1, 6.0, 0.90, 0.06, None, [(25, 16, 20, "PVC"), (10, 10, 15, "PVC")]),
    ("barn", 1, 0.5, 0.10, 0.46, None, [(16, 16, 60, "XLPE"), (10, 10, 30, "XLPE")]),
    ("wharf", 1, 16.0, 0.95, 0.03, None, [(35, 35, 5, "XLPE")]),
    ("yard", 3, 10.0, 0.70, 0.05, None, [(25, 16, 30, "XLPE"), (6, 6, 12, "XLPE")]),
    ("depot", 3, 16.0, 0.90, 0.03, None, [(95, 50, 40, "XLPE"), (16, 16, 20, "XLPE")]),
    ("depot-far", 3, 16.0, 0.90, 0.03, None, [(185, 95, 120, "XLPE"), (35, 35, 25, "XLPE")]),
    ("market", 3, 25.0, 0.97, 0.02, None, [(240, 120, 60, "XLPE"), (70, 35, 40, "XLPE"), (10, 10, 10, "XLPE")]),
    ("mill", 3, 6.0, 0.50, 0.08, None, [(50, 25, 80, "PVC"), (16, 16, 15, "PVC")]),
    ("quay", 3, 4.0, 0.20, 0.12, None, [(70, 35, 150, "XLPE")]),
    ("terrace", 3, 3.0, 0.00, 0.16, None, [(35, 16, 25, "PVC"), (10, 10, 20, "PVC")]),
    ("hill", 3, 2.0, 1.00, 0.25, None, [(120, 70, 200, "XLPE")]),
    ("station", 3, 50.0, 0.99, 0.01, None, [(240, 120, 10, "XLPE")]),
    ("station-far", 3, 50.0, 0.99, 0.01, None, [(240, 120, 150, "XLPE"), (120, 70, 60, "XLPE")]),
    ("works", 3, None, None, None, (500, 4.75, 1.1), [(150, 70, 30, "XLPE"), (16, 16, 25, "XLPE")]),
    ("works-far", 3, None, None, None, (500, 4.75, 1.1), [(185, 95, 180, "XLPE")]),
    ("plant", 3, None, None, None, (1000, 6.0, 1.0), [(240, 120, 25, "XLPE"), (50, 25, 30, "XLPE")]),
    ("farm", 3, None, None, None, (100, 4.0, 1.9), [(50, 25, 60, "PVC"), (10, 10, 35, "PVC")]),
    ("lodge", 3, None, None, None, (50, 4.0, 2.2), [(25, 16, 90, "PVC")]),
    ("hangar", 3, None, None, None, (800, 6.0, 0.9), [(95, 50, 15, "XLPE"), (35, 35, 70, "XLPE")]),
    ("kiosk", 1, 2.0, 0.40, 0.15, None, [(6, 6, 3, "PVC")]),
    ("lane", 1, 1.2, 0.75, 0.22, None, [(35, 16, 110, "XLPE"), (6, 6, 8, "XLPE")]),
]


def source(reactive, magnitude):
    return complex(math.sqrt(max(magnitude**2 - reactive**2, 0)), reactive)


def transformer(kva, uk, ur):
    base = 3 * U0**2 / (kva * 1000)
    r = ur / 100 * base
    return complex(r, math.sqrt((uk / 100 * base) ** 2 - r**2))


def given(network):
    """The impedance behind the greatest fault current, of the earth fault loop, and its reactive part."""
    _, _, kiloamps, share, ze, tx, _ = network
    if tx:
        z = transformer(*tx)
        return z, z, z.imag
    behind = 1.1 * U0 / (kiloamps * 1000)
    xe = round(share * min(behind, ze), 6)
    return source(xe, behind), source(xe, ze), xe


def greatest(network):
    """Fault between three lines at the far end, cold, in ampere."""
    net = pp.create_empty_network(f_hz=50)
    kv = math.sqrt(3) * U0 / 1000
    bus = pp.create_bus(net, kv)
    behind, _, _ = given(network)
    if network[5]:
        # Behind a bus that nothing limits, the transformer as a line of its impedance: no correction factor.
        pp.create_ext_grid(net, bus, s_sc_max_mva=1e7, rx_max=0.1)
        far = pp.create_bus(net, kv)
        pp.create_line_from_parameters(net, bus, far, 1.0, behind.real, behind.imag, 0, 1, endtemp_degree=20)
        bus = far
    else:
        x = max(behind.imag, 1e-9)
        pp.create_ext_grid(net, bus, s_sc_max_mva=1.1 * kv**2 / abs(behind), rx_max=behind.real / x)
    for size, _, metres, _ in network[6]:
        far = pp.create_bus(net, kv)
        pp.create_line_from_parameters(net, bus, far, metres / 1000, R20[size], X[size], 0, 1, endtemp_degree=20)
        bus = far
    sc.calc_sc(net, fault="3ph", case="max", lv_tol_percent=10, bus=bus)
    return float(net.res_bus_sc.ikss_ka.loc[bus]) * 1000


def earth(network):
    """Earth fault loop at the far end, hot, in ohm."""
    _, ze, _ = given(network)
    dss.Command("clear")
    dss.Command(f"new circuit.c phases=1 basekv={U0 / 1000} pu=1 bus1=b0.1 "
                f"z1=[{ze.real!r}, {ze.imag!r}] z0=[{ze.real!r}, {ze.imag!r}] z2=[{ze.real!r}, {ze.imag!r}]")
    for i, (size, cpc, metres, insulation) in enumerate(network[6]):
        r = (R20[size] + R20[cpc]) * HOT[insulation] * metres / 1000
        x = 2 * X[size] * metres / 1000
        dss.Command(f"new line.l{i} phases=1 bus1=b{i}.1 bus2=b{i + 1}.1 length=1 r1={r!r} x1={x!r} r0={r!r} x0={x!r} c1=0 c0=0")
    far = len(network[6])
    dss.Command(f"new fault.f phases=1 bus1=b{far}.1 r=0.0000001")
    dss.Command("solve mode=snapshot")
    dss.Circuit.SetActiveElement("fault.f")
    return U0 / dss.CktElement.CurrentsMagAng()[0]


def neutral(network):
    """Loop of line and neutral as the source of the earth fault loop feeds it, hot, in ohm."""
    _, ze, _ = given(network)
    parts = [("V1", "1 0", f"ac {U0} 0 {2 * math.pi * 50!r}")]
    node = 1
    legs = [ze] + [complex(2 * R20[s] * HOT[i] * m / 1000, 2 * X[s] * m / 1000) for s, _, m, i in network[6]]
    for n, z in enumerate(legs):
        a, b, c = node, node + 1, node + 2
        parts.append((f"R{n}", f"{a} {b}", repr(z.real)))
        parts.append((f"L{n}", f"{b} {c}", repr(max(z.imag, 1e-12) / (2 * math.pi * 50))))
        node = c
    parts.append(("R99", f"{node} 0", "0.0000001"))
    circuit = Circuit("\n".join(f"{n} {at} {v}" for n, at, v in parts))
    phasor = circuit.R99.I.phasor() if hasattr(circuit.R99.I, "phasor") else circuit.R99.I
    return U0 / abs(complex(phasor.cval if hasattr(phasor, "cval") else phasor.val))


def main():
    print(f"# pandapower {version('pandapower')}, OpenDSS through opendssdirect.py {version('opendssdirect.py')}, "
          f"lcapy {version('lcapy')}; written by networks.py")
    print("# cables: line/protective conductor mm² of insulation, metres, ohm/km of reactance; amperes and ohms of the far end")
    print("name|lines|fault kA|Xe ohm|Ze ohm|transformer kVA, uk %, ur %|cables|pandapower, greatest A|OpenDSS, earth ohm|lcapy, neutral ohm")
    for n in NETWORKS:
        cables = "; ".join(f"{s}/{c} {i} {m} {X[s]}" for s, c, m, i in n[6])
        tx = " ".join(map(str, n[5])) if n[5] else ""
        xe = "" if n[5] else f"{given(n)[2]:.6f}"
        most = f"{greatest(n):.3f}" if n[1] == 3 else ""
        print("|".join([n[0], str(n[1]), str(n[2] or ""), xe, str(n[4] or ""), tx, cables, most, f"{earth(n):.6f}", f"{neutral(n):.6f}"]))


main()
