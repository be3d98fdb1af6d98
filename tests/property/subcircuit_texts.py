"""Sub-circuit files at random: sound ones in every style of writing, and hostile ones."""

from __future__ import annotations

import string

from hypothesis import strategies as st

WATERMARK = "zq"
"""In every name of the user's, in no word of ours."""

NAMES = st.text(string.ascii_letters + string.digits + "_", min_size=1, max_size=8).map(
    lambda tail: f"zQ{tail}"
)
NUMBERS = st.sampled_from(
    ["1", "4.7k", "10M", "2.2Meg", "100n", "1e-3", ".5", "33kOhm", "{2*3}", "{1k + 2}", "{zq_p/3}"]
)
HOSTILE = (
    ".control\nshell touch zq\n.endc",
    ".include zq.lib",
    '.lib "../../zq"',
    "+ .control",
    "*\n+ .include zq",
    "A1 [a] [b] zqmodel",
    "N1 a b zqmodel",
    "V9 a b external",
    'V9 a b PWL file="zq"',
    "R9 0 a 1k",
    "R9 a gnd 1k",
    "R9 a b 1e999",
    "R9 a b nan",
    "B9 a b v=time*zq",
    "B9 a b i=agauss(1,1,1)",
    "B9 a b v={v(a)}\r.include zq",
    "R9 a b 1k\x0b.include zq",
    "R9 a b 1k\u2028.include zq",
    "R9 a b 1k ; zq",
    "R9 a b 1k $ zq",
    "R9 a b 1k // zq",
    "R9 a b 'zq'",
    "R9 a b `zq`",
    "R9 a b {zq",
    "Ω9 a b 1k",
    "R9 a b 1µ",
    ".ends\n.subckt zqother a b\nX1 a b zqother\n.ends",
    ".subckt zqinner a",
    ".param zq=zq",
    ".model zqm D(is=1e-14)\nD9 a b zqm",
    "B9 a b v=" + "(" * 200 + "1" + ")" * 200,
    "B9 a b v=" + "-" * 50 + "1",
    "B9 a b v=" + "+".join(["v(a)"] * 400),
    "R9 " * 700,
    "@zq",
    ".end",
)


@st.composite
def sound_files(draw: st.DrawFn) -> tuple[str, int]:
    """Return the text of a legitimate file and how many elements stand in it."""
    ports = draw(st.lists(NAMES, min_size=2, max_size=4, unique_by=str.lower))
    inner = draw(st.lists(NAMES, min_size=1, max_size=4, unique_by=str.lower))
    nodes = st.sampled_from(ports + inner)
    count = draw(st.integers(1, 12))
    lines = [".subckt zqtop " + " ".join(ports) + draw(st.sampled_from(["", " params: zq_q=2"]))]
    # Every node is connected, so that an expression may ask for any.
    lines += [f"Rzq{k} {node} {ports[0]} 1k" for k, node in enumerate(ports + inner)]
    for k in range(count):
        lines += draw(elements(k, nodes))
    lines += [".model zqd D(IS=1n CJ0=4p)", ".model zqn NPN BF={50*2}", ".model zqf NJF(beta=1m)"]
    lines += [".model zqm NMOS level=1 vto=2", ".ends"]
    lines += [".subckt zqhalf zqa zqb zq_r=1k", "R1 zqa zqn {zq_r}", "C1 zqn zqb {zq_c}"]
    lines += ["B1 zqn zqb v=v(zqa)", ".param zq_c={zq_r*1p}", ".ends ZqHalf"]
    styled = [draw(styles(line)) for line in lines]
    return ".param ZQ_P=3\n" + "\n".join(styled) + "\n", len(lines)


@st.composite
def elements(draw: st.DrawFn, k: int, nodes: st.SearchStrategy[str]) -> list[str]:
    """Return the lines of one element, with what it refers to."""
    a, b, c, d = (draw(nodes) for _ in range(4))
    number = draw(NUMBERS)
    name = f"zq{k}x"
    return draw(
        st.sampled_from(
            [
                [f"R{name} {a} {b} {number}"],
                [f"C{name} {a} {b} {number} tc1=1m"],
                [f"L{name} {a} {b} {number}"],
                [f"K{name} L{name} L{name}2 .9", f"L{name} {a} {b} 1m", f"L{name}2 {c} {d} 1m"],
                [f"D{name} {a} {b} zqd"],
                [f"Q{name} {a} {b} {c} zqn 2"],
                [f"Q{name} {a} {b} {c} {d} ZQN"],
                [f"M{name} {a} {b} {c} {d} zqm L=2u W={{zq_p*1u}}"],
                [f"J{name} {a} {b} {c} zqf"],
                [f"V{name} {a} {b} SIN(0 1 {{50*2}} 0 0 -90)", f"F{name} {c} {d} V{name} {number}"],
                [f"V{name} {a} {b} DC -5", f"H{name} {c} {d} V{name} -2"],
                [f"I{name} {a} {b} PULSE(0 -5 0 1u 1u 1m 20m)"],
                [f"I{name} {a} {b} PWL 0 0, 1m -5m, 2m 3"],
                [f"E{name} {a} {b} {c} {d} {number}"],
                [f"G{name} {a} {b} value={{v({a},{c})*1m}}"],
                [f"B{name} {a} {b} i={{-2}}*v({c})+(v({d})>=zq_p?1m:-tanh(temper))*pi"],
                [f"B{name} {a} {b} V = max(v({c}),-1)-(-3)*!v({d})||0&&2", f"V{name} {c} {d} 0"],
                [f"X{name} {a} {b} zqhalf params: zq_r={number}"],
            ]
        )
    )


@st.composite
def styles(draw: st.DrawFn, line: str) -> str:
    """Return a card in another case, broken over lines, with comments of every style."""
    line = draw(st.sampled_from([line, line.upper(), line.lower(), line.swapcase()]))
    words = line.split(" ")
    breaks = draw(st.lists(st.booleans(), min_size=len(words), max_size=len(words)))
    text = words[0]
    for word, broken in zip(words[1:], breaks, strict=False):
        text += draw(st.sampled_from(["\n+ ", "\n* zq\n+", "\n\n\t+\t"])) if broken else " "
        text += word
    tail = draw(st.sampled_from(["", " ; zq Ω", "\t$ zq", " // zq", "\n* zq .control", "\r"]))
    return text + tail if tail != "\r" else text + " ;zq\r"


@st.composite
def hostile_files(draw: st.DrawFn) -> str:
    """Return a file with hostile lines among sound ones, or any text at all."""
    sound, _ = draw(sound_files())
    lines = sound.split("\n")
    for piece in draw(st.lists(st.one_of(st.sampled_from(HOSTILE), st.text(max_size=30)))):
        lines.insert(draw(st.integers(0, len(lines))), piece)
    text = "\n".join(lines)
    cut = draw(st.integers(0, len(text)))
    return draw(st.sampled_from([text, text[:cut], text[cut:]]))
