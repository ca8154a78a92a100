"""The timeline as drawn: columns and rows that the text tab, the sheet and the page read."""
