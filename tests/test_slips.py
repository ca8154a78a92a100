"""Plausible slips of teachers and pupils, from other tab, from print and from other countries: one right hint each.

Each row is music (or a whole text, where it has a `lick` line), the code, what the caret stands under, and what the help offers.
"""

from __future__ import annotations

import pytest

from lickwright import compile_text
from lickwright.core.diagnostics import Severity

HEAD = 'key A minor\nlick "Gate"\n'
BAR = "e8 e5 B8 e5 G7 - - -"
SEVEN = "e5 B8 e5 G7 - - -"  # what fills a bar after one step
FILE = f'\nlick "Gate"\n| {BAR} |'

SLIPS = [
    # the B string of German and Nordic books
    (f"| H8 {SEVEN} |", "L103", "H", "`B8`"),
    (f"| e5&H8 {SEVEN} |", "L103", "H", "`B8`"),
    (f"| G5H7 {SEVEN} |", "L103", "H", "`B7`"),
    ("key h-Moll" + FILE, "L121", "h-Moll", ""),
    ("key A minor\nchords Hm7" + FILE, "L121", "Hm7", ""),
    # syllables for letters
    (f"| Si8 {SEVEN} |", "L103", "Si", "`B8`"),
    ("key la mineur" + FILE, "L121", "la mineur", ""),
    # how far a bend goes
    (f"| B8^step {SEVEN} |", "L101", "step", "`^full`"),
    (f"| B8^whole {SEVEN} |", "L101", "whole", "`^full`"),
    (f"| B8^tone {SEVEN} |", "L101", "tone", "`^full`"),
    (f"| B8^halfstep {SEVEN} |", "L101", "halfstep", "`^half`"),
    (f"| B8^+2 {SEVEN} |", "L101", "+2", "`^10`"),
    (f"| B8^1.5 {SEVEN} |", "L413", "^1.5", "`^11`"),
    (f"| B8^1 {SEVEN} |", "L413", "^1", "`^full`"),
    (f"| B8^0.5 {SEVEN} |", "L413", "^0.5", "`^half`"),
    (f"| B8full {SEVEN} |", "L101", "full", "`B8^full`"),
    (f"| B8 full {SEVEN[3:]} |", "L101", "full", "`B8^full`"),
    (f"| B8b10r8 {SEVEN} |", "L101", "b", "`B8^10r`"),
    (f"| B8(10) {SEVEN} |", "L109", "(", "`B8^10`"),
    (f"| G7pb9 {SEVEN} |", "L101", "pb", "`G7^^9`"),
    (f"| G7^^ {SEVEN} |", "L101", "^^", "`^^full`"),
    # together
    (f"| e5+B5 {SEVEN} |", "L101", "+", "`e5&B5`"),
    (f"| e5_B5 {SEVEN} |", "L101", "_", "`e5&B5`"),
    (f"| e5/B5 {SEVEN} |", "L105", "/", "`e5&B5`"),
    (f"| (e5 B5) {SEVEN} |", "L109", "(", "`e5&B8`"),
    (f"| {{e5 B5}} {SEVEN} |", "L101", "{", "`e5&B8`"),
    (f"| <e5 B5> {SEVEN} |", "L101", "<", "`e5&B8`"),
    # tuplets
    ("| 3[G7 G5 D7 D5] e5 B8 e5 G7 - - |", "L302", "3[", "3 steps go into it"),
    ("| 3[G7 G5] e5 B8 e5 G7 - - |", "L301", "3[", "3 steps go into it"),
    ("| 3(G7 G5 D7) e5 B8 e5 G7 - - |", "L108", "3(", "`3[…]`"),
    ("| (3 G7 G5 D7) e5 B8 e5 G7 - - |", "L109", "(", "`3[…]`"),
    ("| 3{G7 G5 D7} e5 B8 e5 G7 - - |", "L108", "3{", "`3[…]`"),
    ("| t[G7 e5 B8] e5 G7 - - - - |", "L108", "t", "`3[…]`"),
    ("| 1/8t G7 e5 B8 e5 |", "L110", "1/8t", "`3[…]`"),
    # words
    ("| (let ring: G7 G5 D7) e5 B8 e5 G7 - |", "L109", "let ring", "`(ring: …)`"),
    ("| (let ring G7 G5 D7) e5 B8 e5 G7 - |", "L109", "let ring", "`(ring: …)`"),
    ("| (palm mute: G7 G5 D7) e5 B8 e5 G7 - |", "L109", "palm mute", "`(pm: …)`"),
    ("| (P.M.: G7 G5 D7) e5 B8 e5 G7 - |", "L109", "P.M.", "`(pm: …)`"),
    ("| PM G7 G5 D7 e5 B8 e5 G7 - |", "L109", "PM", "`(pm: …)`"),
    ("| tr(G5h7)- e5 B8 e5 G7 - - |", "L109", "tr", "`(trill: …)`"),
    ("| G5tr7 - e5 B8 e5 G7 - - |", "L101", "tr", "`(trill: G5h7)`"),
    ("| (vibrato: G5) - e5 B8 e5 G7 - - |", "L109", "vibrato", "`G7~`"),
    ("| (tap: B8) - e5 B8 e5 G7 - - |", "L109", "tap", "`tG12`"),
    ("| (harm: B12) - e5 B8 e5 G7 - - |", "L109", "harm", "`G<12>`"),
    ("| (scrape: E--- e5 B8 e5 G7 |", "L106", "(scrape:", "`)`"),
    # repeats and endings
    (f"|: {BAR} :|2", "L114", "2", "`:|x2`"),
    (f"|: {BAR} :|x", "L114", "x", "`:|x2`"),
    (f"|: {BAR} :|xx", "L114", "xx", "`:|x2`"),
    (f"|: {BAR} :|3x", "L114", "3x", "`:|x3`"),
    (f"|: {BAR} :| (3x)", "L109", "(", "`:|x3`"),
    (f"| {BAR} | x2", "L114", "x2", ":|x2"),
    (f"|: {BAR} |1. {BAR} :|2nd {BAR} ||", "L112", "1.", "`|1st`"),
    (f"|: {BAR} |1: {BAR} :|2nd {BAR} ||", "L112", "1:", "`|1st`"),
    (f"|: {BAR} |[1] {BAR} :|2nd {BAR} ||", "L112", "[1]", "`|1st`"),
    (f"|: {BAR} |1st ending {BAR} :|2nd {BAR} ||", "L112", "ending", "`|1st`"),
    # notes
    (f"| e 8 {SEVEN} |", "L101", "e 8", "`e8`"),
    (f"| e-8 {SEVEN} |", "L101", "-", "`e8`"),
    (f"| 1e8 {SEVEN} |", "L101", "1", "`e8'1`"),
    (f"| G5hG7 {SEVEN[3:]} |", "L101", "hG", "`G5h7`"),
    (f"| G7>9 {SEVEN} |", "L101", ">", "`G7/9`"),
    (f"| G7-9 {SEVEN} |", "L101", "-", "`G7/9`"),
    (f"| >G7 {SEVEN} |", "L101", ">", "`G7!`"),
    (f"| E3T {SEVEN} |", "L101", "T", "`E3'T`"),
    (f"| G7~~~ {SEVEN} |", "L101", "~~~", "`G7~~`"),
    (f"| e5b5 {SEVEN} |", "L103", "b", "`B5`"),
    (f"| G7 b9 {SEVEN[3:]} |", "L103", "b", "`G7^9`"),
    ("| -8-5-8-5- |", "L101", "-8-5-8-5-", "names its string"),
    (f"| Am7 {SEVEN} |", "L103", "Am7", "`chords Am7`"),
    (f"| F#4 {SEVEN} |", "L103", "F#4", "where it is played"),
    ("| e8 e5 B8 e5 G7 _ _ _ |", "L101", "_", "`-`"),
    ("| e8 e5 B8 e5 G7 z z z |", "L104", "z", "`.`"),
    (f"| G12harm {SEVEN} |", "L101", "harm", "`G<12>`"),
    (f"| g:7 {SEVEN} |", "L101", ":", "`G7`"),
    ("| {pm: E0 E0 E0} E0 E0 - - - |", "L109", "{pm:", "`(pm: …)`"),
    ("| (PM E0 E0 E0) E0 E0 - - - |", "L109", "PM", "`(pm: …)`"),
    (HEAD + "e|-5-8-5-8-|\nB|---------|\nG|---------|", "L117", "e|-5-8-5-8-|", "`| e5 e8 B5 B8 |`"),
    # going back, as print has it
    (f"| 𝄋 {BAR} | {BAR} @ds ||", "L111", "𝄋", "`@segno`"),
    (f"| {BAR} | D.C. |", "L111", "D.C.", "`@dc`"),
    (f"| {BAR} | {BAR} || D.C. al Fine", "L111", "D.C. al Fine", "`@dc-al-fine`"),
    # said at a moment
    (f"| @tempo 80 {BAR} |", "L111", "@tempo", "`@tempo=80`"),
    (f"| @forte {BAR} |", "L111", "@forte", "`@f`"),
    (f"| mf {BAR} |", "L111", "mf", "`@mf`"),
    (f'| "let it hang" {BAR} |', "L111", '"', '`@"let it hang"`'),
    (f"| @let it hang {BAR} |", "L111", "@let", '`@"let it hang"`'),
    (f"| {BAR} |\n// a remark", "L116", "//", "`#`"),
    (f"| {BAR} |\nstep 1/16\n| {BAR} |", "L116", "step", "`1/16`"),
    (f"| {BAR} |\ntempo 60\n| {BAR} |", "L116", "tempo", "`@tempo=60`"),
    (f"| B8bend {SEVEN} |", "L101", "b", "`B8^full`"),
    # fields
    ("Key: A minor" + FILE, "L117", ":", "`key A minor`"),
    ("key = A minor" + FILE, "L117", "=", "`key A minor`"),
    ("key A minor\nTitle: Gate" + FILE, "L120", "Title", '`lick "Gate"`'),
    ("key A minor\ntuning E A D G H E" + FILE, "L121", "E A D G H E", ""),
    ("key A minor\nchords A7 ///" + FILE, "L121", "///", ""),
    # one cause, one finding
    (f"key A minor\nbox 1\nlick \"Gate\"\n| A24 {SEVEN} |", "L422", "A24", "`frets 24`"),
    ('key A minor\nlick "Gate"\n! e8 e5 B8 e5', "L117", "! e8 e5 B8 e5", "bar line `|`"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "code", "caret", "right"), SLIPS, ids=[row[0].strip("| ")[:40] for row in SLIPS])
def test_one_slip_is_one_finding_with_the_right_hint(typed: str, code: str, caret: str, right: str) -> None:
    text = (typed if "lick " in typed else HEAD + typed) + "\n"
    compilation = compile_text(text)
    (found,) = [d for d in compilation.diagnostics if d.severity is not Severity.INFO]
    assert (found.code, text[found.span.start : found.span.end]) == (code, caret)
    assert right in (found.hint or found.message)
    assert not compilation.ok


MEANT = {
    "h-Moll": "B minor", "la mineur": "A minor", "H minor": "B minor", "B-Dur": "Bb major", "Es-Dur": "Eb major", "fis-Moll": "F# minor",
    "Si bémol majeur": "Bb major", "E flat major": "Eb major", "do mayor": "C major",
}  # fmt: skip


@pytest.mark.parametrize("key", MEANT)
def test_a_key_of_another_language_is_offered_in_this_one(key: str) -> None:
    (found,) = [d for d in compile_text(f"key {key}{FILE}\n").diagnostics if d.severity is Severity.ERROR]
    assert found.message.endswith(f"write {MEANT[key]}")
    assert found.fix is None
