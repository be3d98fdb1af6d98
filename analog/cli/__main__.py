"""`python -m analog.cli` is the command `edgeproof`."""

from analog.cli import main

main()
