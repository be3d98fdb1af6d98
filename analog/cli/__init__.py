"""The command `edgeproof`: a thin skin over `analog.workflows` and `analog.render`.

Commands are imported when they are asked for, and import what they need when they run, so that
`edgeproof --help` costs little more than click itself.
"""

from __future__ import annotations

from analog.cli.group import EdgeproofGroup

__all__ = ["main"]

main = EdgeproofGroup(
    name="edgeproof",
    help="Check the analog borders of mains-powered CMOS logic before the board is built: line "
    "sense, edge conditioning, power-up reset, triac gate drive.",
    epilog="Mains voltage can kill and start fires. Edgeproof checks function, not safety.",
    context_settings={"help_option_names": ["-h", "--help"]},
)
