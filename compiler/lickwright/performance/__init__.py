"""The timeline as sounded: seconds, loudness and pitch curves that MIDI, audio and timing sheets read."""
