"""MIDI read into drafts."""
