"""Advice: which stock values and parts could be put in, and how little each change changes.

Pure: no engine, no file. What a change does is found out by `analog.workflows.suggest`.
"""

from analog.advice.changes import Choice, Edit, Knob
from analog.advice.editing import edited_text
from analog.advice.knobs import knobs_of
from analog.advice.search import Found, Score, find

__all__ = ["Choice", "Edit", "Found", "Knob", "Score", "edited_text", "find", "knobs_of"]
