"""Accidentals as printed music has them."""

from __future__ import annotations

import pytest

from lickwright.music.accidentals import accidental_signs


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("Bb minor", "B♭ minor"),
        ("F# dorian", "F♯ dorian"),
        ("Ebm7b5/Bb", "E♭m7♭5/B♭"),
        ("A7#9", "A7♯9"),
        ("E 1 b3 4 bb7", "E 1 ♭3 4 ♭♭7"),
        ("Eb Ab Db Gb Bb Eb, low to high", "E♭ A♭ D♭ G♭ B♭ E♭, low to high"),
        ("C#4", "C♯4"),
        ("Abmaj7", "A♭maj7"),
        ("Abby plays Ebony", "Abby plays Ebony"),
        ("box 1, Bdim", "box 1, Bdim"),
    ],
)
def test_only_what_names_a_note_or_degree_changes(typed: str, printed: str) -> None:
    assert accidental_signs(typed) == printed
