#!/usr/bin/env python3
"""Car parks of any size, for measuring what an answer costs:

    python3 tests/benches/car_park.py FILE POINTS BOARDS

writes one with POINTS points on BOARDS sub-boards, made from a design of the tests. From ten points
on its supply is too small, so that breaches are told, too.
"""
import pathlib
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
# The design as it was when the table was measured: what the rules ask of it may grow.
HEAD = (ROOT / 'tests/designs/granary-court-car-park.amp').read_text()
def site(points, boards):
    h=HEAD[:HEAD.index('  circuit to-bays {')]
    h=h.replace('agreed-demand: 100 A','agreed-demand: 3000 A')
    out=[]
    out.append(h)
    per=(points+boards-1)//boards
    for b in range(1,boards+1):
        ln=f'{30+b} m'
        out.append(f'''  circuit to-bays-{b} {{
    status: new
    role: distribution
    lines: L1, L2, L3
    neutral: yes
    carries-pen: no
    protective-measure: disconnection
    device: fuse {{ standard: BS-88-2  In: 80 A  curve: gG  Icn: 80 kA  isolates: yes }}
    joints: none
    rcd: none
    cables: armoured {{
      size: 35 mm²
      insulation: XLPE
      length: {ln}
      method: D
      cores: 5
      cpc: core
      depth: 0.6 m
      under: road
      marker: yes
    }}
  }}
''')
    out.append('}\n')
    bay=lambda name,line,length,rcbo='bay-rcbo': f'''  circuit {name} {{
    status: new
    role: final
    lines: {line}
    neutral: yes
    carries-pen: no
    outlet-kind: sockets
    protective-measure: disconnection
    device: {rcbo}
    joints: none
    rcd: none
    cables: armoured {{
      size: 6 mm²
      insulation: XLPE
      length: {length}
      method: E
      cores: 3
      cpc: core
      group: 6
      group-laid: tray
    }}
  }}
'''
    pt=lambda name,circ,line,inn='32 A': f'''charge-point {name} {{
  status: new
  circuit: {circ}
  mode: 3
  case: B
  In: {inn}
  I-min: 6 A
  lines: {line}
  outlet: type-2
  outlets: 1
  fixing: hard-wired
  portable: no
  interlocked: yes
  location: outdoors
  ip-code: IP55
  ik-code: IK10
  guard: barrier
  height: 1 m
  public: no
  pe-current: 1 mA
  rcd: none
  dc-fault-protection: rdc-dd {{ dc-trip: 6 mA }}
  open-pen: none
  export: none
}}

'''
    names=[]
    n=0
    tail=[]
    bb=HEAD[HEAD.index('board bays {'):HEAD.index('  circuit bay-1 {')]
    for b in range(1,boards+1):
        t=bb.replace('board bays {',f'board bays-{b} {{').replace('fed-from: to-bays',f'fed-from: to-bays-{b}')
        out.append(t)
        k=min(per,points-n)
        for i in range(k):
            n+=1
            out.append(bay(f'bay-{n}',f'L{n%3+1}',f'{5+n%20} m'))
            names.append(f'bay-{n}')
        out.append('}\n')
        g=HEAD[HEAD.index('open-pen guard '):HEAD.index('no open-pen')].replace('open-pen guard',f'open-pen guard-{b}').replace('at: bays',f'at: bays-{b}')
        tail.append(g)
    out+=tail; out.append('no open-pen\n\n')
    n=0
    for b in range(1,boards+1):
        k=min(per,points-n)
        for i in range(k):
            n+=1; out.append(pt(f'bay-{n}',f'bay-{n}',f'L{n%3+1}'))
    out.append('no charge-point\n\n')
    n=0
    for b in range(1,boards+1):
        k=min(per,points-n)
        mem=', '.join(names[n:n+k]); n+=k
        out.append(f'''load-limiter controller-{b} {{
  status: new
  acts: fixed-cap
  guards: to-bays-{b}
  members: {mem}
  I-limit: 48 A
  floor: pauses
  on-loss: stops
  reacts-in: 3 s
  set-access: password
  set-marked: yes
}}
''')
    out.append('no load-limiter\n\n')
    out.append('position bays {\n  of: '+', '.join(names)+'\n  vehicle-outdoors: always\n  traffic: yes\n}\n')
    out.append(HEAD[HEAD.index('no position\n'):])
    return ''.join(out)
if __name__ == '__main__':
    file, points, boards = sys.argv[1:]
    pathlib.Path(file).write_text(site(int(points), int(boards)))
