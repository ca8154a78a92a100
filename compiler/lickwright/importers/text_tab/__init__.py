"""Text tab read into drafts: `entry.py` is what the table of readers calls, `reader.py` puts the steps together.

In: a text, as people type it. Out: `LickDraft`s with their doubts. One module a step, in the order of the reading: `text_lines.py`
(decoding, cleaning), `string_lines.py` and `systems.py` (which lines are strings), `sections.py`, `string_order.py`, `tunings.py`,
`legend.py`, `heading.py` (what labels and prose say), `bars.py`, `marks.py` with `note_marks.py`, `shape_marks.py`, `scan_state.py` and
`amounts.py` (what stands on a string), `columns.py` (what is played together), `rows.py` and `row_marks.py` (what stands above),
`written_bars.py` (all of it, bar by bar), `count_row.py`, `spacing.py`, `rhythm.py` and `timed_bars.py` (when it is played),
`playing_order.py` and `playing.py` (how long it lasts).
"""
