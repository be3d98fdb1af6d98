"""Sub-circuit files as people write them, each with a bench that makes it work.

`bench` is the text round the sub-circuit: the title, ``{name}`` for the sub-circuit's name, its
analysis. Each is simulated twice by plain ``ngspice -b``, once as written and once rewritten.
"""

from __future__ import annotations

import os
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np

Floats = np.ndarray[tuple[int], np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Case:
    """A file, the sub-circuit used, the bench round it, the vectors to be compared."""

    text: str
    name: str
    bench: str
    vectors: tuple[str, ...]
    handed_over: str = ""
    """What the bench's X hands over; the rewritten one has it as a default already."""


RC_LADDER = Case(
    """* three sections, µ in a comment
.param R=10k
.SUBCKT Ladder IN out gnd PARAMS: c=10n
R1 in A {r}            ; first
C1 A gnd {c}           $ in farads
R2 A B {r*2} tc1=2m
C2 B gnd {c/2}
Rlast B
* in between
+ out
+ {3*R+1k}             // last
C3 out gnd 1000P
.ENDS Ladder
""",
    "ladder",
    "V1 in 0 SIN(0 10 50)\nX1 in out 0 {name}\nRL out 0 1meg\n.tran 50u 60m 0 50u",
    ("in", "out"),
)

SCHMITT = Case(
    """* two transistors, common emitter resistor
.model sw NPN(IS=1e-14 BF=200 VAF=100 CJE=8p CJC=4p TF=400p)
.subckt trigger in out vdd vss
Rb in b1 22k
Q1 c1 b1 e sw
Rc1 vdd c1 10k
Ra c1 b2 10k
Rg b2 vss 47k
Q2 out b2 e SW 2
Rc2 vdd out 4.7k
Re e vss 1k
Ccol out vss 100p
.ends
""",
    "trigger",
    "V1 in 0 PWL(0 0 5m 9 10m 0)\nV2 vdd 0 9\nX1 in out vdd 0 {name}\n.tran 5u 10m 0 5u",
    ("in", "out"),
)

COMPARATOR = Case(
    """.subckt comparator inp inn out vdd vss
.param gain=200 mid={1/2}
Bout drive vss V=v(vss)+ V(vdd,vss)*({mid}+{mid}*tanh({gain}*v(INP,inn)))
Rout drive out 1K
Cout out vss 10n
Rin inp inn 10Meg
.ends comparator
""",
    "comparator",
    "V1 in 0 SIN(2.5 2 50)\nV2 vdd 0 5\nV3 ref 0 2\nX1 in ref out vdd 0 {name}\n"
    ".tran 20u 40m 0 20u",
    ("in", "out"),
)

NESTED = Case(
    """.param base=1k
.subckt top a b g n=3
X1 a m g section r={n*base} c=22n
X2 m k g section r={n*base/2}
X3 k b g pair r=4.7k
.ends
.subckt pair a b g r=1k
X1 a n1 g section r={r} c={10n*2}
X2 n1 b g section r={r}
.ends pair
.subckt section a b g r=2k c=10n
R1 a b {r}
C1 b g {half}
.param half={c/2}
Rpar a b {100*r}
.ends
""",
    "top",
    "V1 in 0 PULSE(0 5 1m 100u 100u 4m 10m)\nX1 in out 0 {name} {handed}\nRL out 0 100k\n"
    ".tran 20u 12m 0 20u",
    ("in", "out"),
    "n=4",
)

COUPLED = Case(
    """* a small mains transformer's secondary with a rectifier
.subckt transformer p1 p2 s1 ref
Kcore Lp Ls 0.98
Rp p1 px 200
Lp px p2 20
Ls s1x ref 50m
Rs s1x s1 1.5
D1 s1 dc D1N4007
Cdc dc ref 100u
Rload dc ref 470
.model d1n4007 D IS=7n RS=0.034 N=1.8 CJ0=10p
.ends
""",
    "transformer",
    "V1 in 0 SIN(0 325 50)\nX1 in 0 out 0 {name}\nRL out 0 10k\n.tran 50u 60m 0 50u",
    ("in", "out"),
)

CONTROLLED = Case(
    """.subckt mix in out ref
Vsense in a 0
Ra a ref 1k
F1 ref m Vsense 2
Rm m ref 3k
H1 h ref Vsense 500
E1 e ref m h 1.5
G1 ref out e ref {2*1m}
Ro out ref 1k
Gx ref out value={1m*pwr(v(e,ref),2)-i(vsense)*(v(in)>-9?2:-3)}
Ix ref out SIN(0 1m 200 0 0 45)
J1 out in ref jf
M1 out e ref ref mn W=10u L=2u
.model jf NJF(VTO=-2 BETA=100u)
.model mn NMOS(level=1 VTO=1 KP=50u LAMBDA=0.01)
.ends
""",
    "mix",
    "V1 in 0 SIN(0 2 100)\nX1 in out 0 {name}\n.tran 20u 20m 0 20u",
    ("in", "out"),
)

CASES = {
    "RC ladder": RC_LADDER,
    "Schmitt of two transistors": SCHMITT,
    "comparator": COMPARATOR,
    "nested": NESTED,
    "coupled inductors": COUPLED,
    "controlled sources": CONTROLLED,
}


def simulate(
    case: Case, text: str, name: str, folder: Path, handed_over: str = "", tnom_c: float = 27.0
) -> dict[str, Floats]:
    """Return the vectors, and ``time``, of a sub-circuit's text under plain ``ngspice -b``."""
    folder.mkdir()
    bench = case.bench.replace("{name}", name).replace("{handed}", handed_over)
    lines = ["a title", text, bench]
    lines += [f".options reltol=1e-5 tnom={tnom_c}", f".save {' '.join(case.vectors)}", ".end"]
    return batch("\n".join(lines) + "\n", folder)


def batch(deck: str, folder: Path) -> dict[str, Floats]:
    """Return all vectors a deck saves."""
    (folder / "deck.cir").write_text(deck, encoding="utf-8")
    (folder / ".spiceinit").touch()
    done = subprocess.run(
        ["ngspice", "-b", "-r", "out.raw", "deck.cir"],
        cwd=folder,
        env=os.environ | {"SPICE_ASCIIRAWFILE": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    raw = folder / "out.raw"
    assert done.returncode == 0, done.stdout + done.stderr
    assert raw.exists(), done.stdout + done.stderr
    return ascii_vectors(raw.read_text(encoding="ascii"))


def ascii_vectors(text: str) -> dict[str, Floats]:
    """Return the real vectors of an ASCII raw file, by name without ``v(…)``."""
    head, _, body = text.partition("Values:\n")
    listed = head.partition("Variables:\n")[2].split("\n")
    names = [line.split()[1] for line in listed if line.strip()]
    words = np.array(body.split(), dtype=float).reshape(-1, len(names) + 1)
    plain = [name.removeprefix("v(").removesuffix(")") for name in names]
    return {name: words[:, k + 1] for k, name in enumerate(plain)}
