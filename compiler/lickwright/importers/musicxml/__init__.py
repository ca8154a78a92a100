"""MusicXML read into drafts."""
