"""The timeline as sounded: seconds, loudness and pitch curves, which MIDI, audio and the timing sheet read."""
