"""Text tab read into drafts: `reader.py` is the entry.

In: a text, as people type it. Out: `LickDraft`s with their doubts. One module a step, in the order of the reading: `text_lines.py`
(decoding, cleaning), `string_lines.py` and `systems.py`
(which lines are strings), `sections.py`, `tunings.py`, `legend.py`, `heading.py` (what the prose says), `bars.py`, `marks.py`, `columns.py`
(what stands on the strings), `rows.py`,
`row_marks.py` (what stands above), `count_row.py`, `spacing.py`, `rhythm.py` (when it is played), `playing.py` (how long it lasts).
"""
