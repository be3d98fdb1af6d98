"""Edgeproof: checks the analog borders of mains-powered CMOS logic before the board exists.

The package is layered; each layer imports only those above it in this list:
errors, quantities, cards, design, circuits, measures and verdicts, engine, benches, studies,
results, workflows, render, cli. DEVELOPERS.md says what lives where.
"""

__version__ = "0.1.0"
