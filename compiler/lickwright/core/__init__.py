"""What every stage rests on: source text and positions, diagnostics, text edits, fast dataclasses, files read and written whole."""
