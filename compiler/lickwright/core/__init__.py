"""What every stage uses: source text and positions, diagnostics, text edits, fast dataclasses, reading and writing files."""
