"""The timeline as drawn: columns and rows that the text tab, the printed sheet and the lesson page read."""
