"""No text stops the compiler, none keeps it long, and what it says is for players.

Random bytes and signs, texts cut off or with a letter missing, brackets without end, numbers without end, characters that nobody sees. How the
cost grows with the length is counted in calls every day, and measured on the processor's clock in a slow test, which sees the work inside of a call too.
"""

from __future__ import annotations

import math
import re
import subprocess
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from effort import calls, seconds
from good_licks import good_file
from lickwright.compiler import compile_bytes, compile_text
from lickwright.compiler.compilation import Compilation
from lickwright.compiler.rules import all_rules
from lickwright.core.diagnostics import has_errors
from lickwright.core.source import Source
from lickwright.notation.navigation import NAVIGATION
from lickwright.notation.syntax import lark_parser, parse_source
from planting import plant
from shares import every_nth

RULES = all_rules()

SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))
EXAMPLE = """# Two answers for a slow blues in A
by     Mara Quill
key    A minor
scale  blues
tempo  72
feel   shuffle

lick "Porch light"
box    1
chords A7 | D7 A7
| e8 e5 B8^10 -r p5 G7~-- |
| 3[D7 G5h7] e5&B8^full - (rake: D G B e8~) - . . ||

lick "Low \\"road\\""
meter 7/8 2+2+3
| @"let it hang" E5h8 A5 A6! A7 D5'1 /7'3~ |1st (pm: E0 E0) A-&E3 1/16 E<12> Ex - . @mf E8 :|x3
|2nd % |
"""
HEAD = 'key A minor\n\nlick "Gate"\n| '
SIGNS = "EADGBe0123456789hptrx/\\^~!?,='.-&|:%[]()<>@#\" \n\t*"
PIECES = [
    "e8", "B8^10", "-", "-r", ".", "..", "G7/9", "3[", "5:4[", "]", "(pm:", "(rake:", "(grace:", "(trill:", ")", "|", "||", ":|", ":|x3", "|:",
    "1st", "2nd", "%", "&", "1/8", "1/8.", "@mf", '@"', '"', "#", "\n", " ", '\nlick "a"\n', "\nkey A minor\n", "h7", "p5", "5:", "e.", "A-&", "E<12>",
    "'1", "~~", "^", "r", "=", "“", "–", "\u00a0", "\u200b", "z", "99999999999", "E30&A2", "e22&E1", "t12", "tB13", "e0^full", "e36^36",
    "@segno", "@coda", "@fine", "@to-coda", "@dc", "@dc-al-fine", "@ds-al-coda", "3:3[", "2:2[", "H8", "(let", "ring:", "{", "}", "e 8", "1.", "D.C.",
]  # fmt: skip
GRAMMAR = sorted(
    {terminal.name for terminal in lark_parser().terminals} | {"Token", "Tree", "Traceback", "Unexpected", "lark"}
)
TERMS = re.compile(rf"\b({'|'.join(GRAMMAR)})\b|__\w+|\b\w+Error\b|object at 0x")


def judge(compilation: Compilation) -> Compilation:
    """What must hold for whatever was compiled."""
    length = len(compilation.source.text)
    for d in compilation.diagnostics:
        said = re.sub(r'`[^`]*`|"[^"]*"', "", f"{d.message} {d.hint or ''}")  # without what the user wrote
        assert not TERMS.search(said), said
        assert "\n" not in d.message
        assert len(d.message) <= 200 and len(d.hint or "") <= 300, (d.message, d.hint)
        assert 0 <= d.span.start <= d.span.end <= length, d
    for lick in compilation.licks:
        assert lick.ok != has_errors(lick.diagnostics), "refused without an error, or written with one"
    return compilation


def codes(text: str) -> list[str]:
    return [d.code for d in judge(compile_text(text)).diagnostics]


# --- anything --------------------------------------------------------------------------------------------------------

ANYTHING = settings(suppress_health_check=list(HealthCheck))


@ANYTHING
@given(st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    judge(compile_bytes(data))


@ANYTHING
@given(st.text(max_size=200), st.booleans())
def test_any_text(text: str, in_a_lick: bool) -> None:
    judge(compile_text(HEAD * in_a_lick + text))


@ANYTHING
@given(st.text(SIGNS, max_size=60))
def test_any_signs(text: str) -> None:
    judge(compile_text(HEAD + text))


@ANYTHING
@given(st.lists(st.sampled_from(PIECES), max_size=40), st.sampled_from(["", " "]))
def test_any_pieces_in_any_order(some: list[str], between: str) -> None:
    judge(compile_text(HEAD + between.join(some)))


@ANYTHING
@given(st.lists(st.sampled_from([p for p in PIECES if not set(p) & set(' \n|()[]#"')]), min_size=1, max_size=8))
def test_a_run_is_read_whole_or_not_at_all(some: list[str]) -> None:
    """Grammar and reader agree: what the one lets through, the other takes apart without a rest."""
    run = "".join(some)
    book, found = parse_source(Source("-", HEAD + run))
    events = [item for item in book.licks[0].music if item.span.start >= len(HEAD)]
    assert events, run
    if not found:
        ends = [item.span for item in events]
        assert (ends[0].start, ends[-1].end) == (len(HEAD), len(HEAD) + len(run)), run


SIGNPOSTS = [
    "|",
    "|",
    "|",
    "||",
    "|:",
    ":|",
    ":|x3",
    "|1st",
    ":|2nd",
    "%",
    "G7-------",
    "G7-------",
    "e5---B8---",
    *(f"@{m.sign}" for m in NAVIGATION),
]


@ANYTHING
@given(st.lists(st.sampled_from(SIGNPOSTS), max_size=24))
def test_any_road_is_played_or_refused(some: list[str]) -> None:
    judge(compile_text(HEAD + " ".join(some)))


@pytest.mark.parametrize("planted", [5, pytest.param(40, marks=pytest.mark.slow)])
def test_whatever_is_left_out_has_an_error(planted: int) -> None:
    """Over all that lies here: samples, bad licks, the rules' own examples, and files with mistakes planted."""
    texts = [path.read_text("utf-8") for path in (*SAMPLES, *sorted((Path(__file__).parent / "bad").rglob("*.lick")))]
    texts += [text for rule in RULES for text in (rule.bad, rule.good)]
    for seed in range(planted):
        chance = Random(seed)
        page, _ = plant(good_file(chance), chance, 5)
        texts.append("".join(piece.text for piece in page))
    left_out = sum(not lick.ok for text in texts for lick in judge(compile_text(text)).licks)
    assert left_out > 50 + 2.5 * planted


@every_nth(3)
def test_every_beginning_of_a_file(every: int) -> None:
    for end in range(0, len(EXAMPLE), every):
        judge(compile_text(EXAMPLE[:end]))


@every_nth(3)
def test_every_letter_left_out(every: int) -> None:
    for at in range(0, len(EXAMPLE), every):
        judge(compile_text(EXAMPLE[:at] + EXAMPLE[at + 1 :]))


@pytest.mark.parametrize("step", [97, pytest.param(17, marks=pytest.mark.slow)])
@pytest.mark.parametrize("path", SAMPLES[::4], ids=lambda path: path.stem)
def test_beginnings_of_samples(path: Path, step: int) -> None:
    text = path.read_text("utf-8")
    for end in range(0, min(len(text), 1600), step):
        judge(compile_text(text[:end]))
        judge(compile_text(text[:end] + text[end + 1 : 1600]))


def test_an_unknown_character_costs_one_run() -> None:
    """The good part is still reported: mistakes on both sides of nonsense are found."""
    found = compile_text(HEAD + "b8 e5 B8 e5 \u0416\u0416 e5 d8 e5 |\n").diagnostics
    assert [d.code for d in found] == ["L103", "L101", "L103"]


# --- brackets --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("opener", "closer"), [("(pm: ", ") "), ("(up: ", ")"), ("(", ")")])
def test_sixteen_words_nest_and_seventeen_do_not(opener: str, closer: str) -> None:
    assert "L113" not in codes(HEAD + opener * 16 + "e8 " + closer * 16 + "- - - - - - - |")
    assert codes(HEAD + opener * 17 + "e8 " + closer * 17 + "- - - - - - - |").count("L113") == 1


def test_tuplets_nest_once() -> None:
    assert codes(HEAD + "3[3[e8 e5 B8] e5] - - - - - - |") == []
    assert codes(HEAD + "3[3[3[e8 e5 B8] e5] -] - - - - - - |") == ["L108"]


MANY = [5_000, pytest.param(100_000, marks=pytest.mark.slow)]


@pytest.mark.parametrize("characters", MANY)
@pytest.mark.parametrize("sign", ["3[", "(pm: ", "(", "[", "3[(pm: ", "(3["])
def test_very_many_openers(sign: str, characters: int) -> None:
    for closers in ("", "])" * (characters // 2)):
        assert "L113" in codes(HEAD + "e8 " + sign * (characters // len(sign)) + closers)


@pytest.mark.parametrize("characters", MANY)
@pytest.mark.parametrize("sign", ["]", ")", "])"])
def test_very_many_closers(sign: str, characters: int) -> None:
    assert "L107" in codes(HEAD + "e8 " + sign * (characters // len(sign)))


# --- limits and numbers ----------------------------------------------------------------------------------------------


@pytest.mark.slow  # by day, test_contract_files looks at the same limit
def test_ten_thousand_licks_and_one_more() -> None:
    lick = 'lick "a"\n| E5 |\n'
    assert len(parse_source(Source("-", lick * 10_000))[0].licks) == 10_000
    over = judge(compile_text(lick * 10_001))
    assert [d.message for d in over.diagnostics if d.code == "L113"] == [
        "the file holds 10,001 licks, 10,000 is the limit"
    ]


def test_ten_thousand_events_and_one_more() -> None:
    bar = "e5 " * 8 + "| "
    assert "L113" not in codes(HEAD + bar * 1_250)
    assert "L113" in codes(HEAD + bar * 1_250 + "e5 |")
    assert "L113" not in codes(HEAD.replace("| ", "|: ") + "e5 " * 8 + ":|x1250")
    assert "L113" in codes(HEAD.replace("| ", "|: ") + "e5 " * 8 + ":|x1251")
    assert "L113" in codes(HEAD.replace("| ", "|: ") + "e5 " * 8 + ":|x10000")
    assert "L114" in codes(HEAD.replace("| ", "|: ") + "e5 " * 8 + ":|x10001")
    assert "L113" in codes(HEAD + "|: e5 :|x9999 " * 3_000)


def test_a_mebibyte_of_fields_takes_little_memory() -> None:
    """Matched as one, so many short lines took the expression engine 450 MiB."""
    program = (
        "import resource; from lickwright import compile_text; "
        "compile_text('key A minor\\n' + 'e\\n' * 500_000); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10)"
    )
    between = (
        "import subprocess, sys; subprocess.run([sys.executable, '-c', sys.argv[1]])"  # its memory is counted from here
    )
    ran = subprocess.run([sys.executable, "-c", between, program], capture_output=True, text=True, check=True)
    assert int(ran.stdout) < 100


def test_a_file_keeps_ten_thousand_findings_and_few_of_each_lick_after_them() -> None:
    licks = 75
    compilation = compile_text(('lick "a"\n' + "a b\n" * 200 + "| e5 |\n") * licks)
    numbers = [len(lick.diagnostics) for lick in compilation.licks]
    first = next(n for n, number in enumerate(numbers) if number < 200)
    assert sum(numbers[:first]) <= 10_000 < sum(numbers[: first - 1]) + 2 * 210
    assert max(numbers[first:]) <= 11 and min(numbers[first:]) >= 10
    assert sum("more than 10,000 findings" in d.message for d in compilation.diagnostics) == 1
    assert all(has_errors(lick.diagnostics) for lick in compilation.licks), "a lick without outputs still says why"


def test_two_hundred_fields_and_one_more() -> None:
    note = "note lay back\n"
    assert "L113" not in codes(note * 199 + HEAD + "e8 - - - - - - - |")
    assert codes(note * 200 + HEAD + "e8 - - - - - - - |").count("L113") == 1


def test_a_lick_past_the_thousandth_finding_is_still_refused() -> None:
    """Findings are cut off; that something is wrong never is, else a wrong lick would be written out."""
    for wrong in ("| z e8 |", "| e\u200b8 |", "", "| (zzz: e8) |"):
        compiled = judge(compile_text(f'lick "a"\n{wrong}\n' * 1_200))
        assert not any(lick.ok for lick in compiled.licks)
    assert not any(lick.ok for lick in compile_text(HEAD + "z " * 2_000 + 'lick "b"\n| z |\n').licks)


DIGITS = "9" * 6_000


@pytest.mark.parametrize(
    "music",
    [
        "e{}", "{}:5", "{}:", "e5h{}", "h{}", "e5^{}", "e5^{}.{}", "e5r{}", "e<{}>", "e<{}.{}>", "e5<{}>", "{}", "e5'{}", "{}[e5]", "{}:{}[e5]",
        "{}/8", "1/{}", "{}/{}.", ":|x{}", "{}st", "@tempo={}", "@tempo=1/{} = 60", "|{}st e5", "e{}&B{}", "A-&e{}", "{}e", "B8b{}", "e5^{}/{}",
        "(rake: {}: e5)",
    ],
)  # fmt: skip
def test_numbers_without_end_in_music(music: str) -> None:
    for digits in (DIGITS, "0" * 6_000, "0", "00", "1" + "0" * 20):
        judge(compile_text(f"{HEAD}e8 {music.replace('{}', digits)} e5 |"))


@pytest.mark.parametrize(
    "field",
    [
        "tempo {}", "tempo 1/{} = 60", "tempo 1/4 = {}", "tempo -{}", "tempo {}.{}", "meter {}/4", "meter 4/{}", "meter 7/8 {}+2", "pickup {}/4",
        "pickup 1/{}", "step 1/{}", "step {}", "feel swing {}:1", "feel swing 1:{}", "feel swing 1/{}", "box {}", "box 1 at {}", "box frets {}-8",
        "box frets 1-{}", "capo {}", "frets {}", "level {}", "notation {}", "scale 1 b{}", "scale {}", "chords A{}", "chords A7/{}", "tuning E{}",
        "tuning {} string", "key A{}", 'meant L{} "x"', 'meant L203 bar {} "x"', "key {}", "tuning E{} A2 D3 G3 B3 E4", "numbering {}",
    ],
)  # fmt: skip
def test_numbers_without_end_in_fields(field: str) -> None:
    for digits in (DIGITS, "0" * 6_000, "0", "1" + "0" * 20, "1e309", "nan", "inf", "1_0", "+5", "٣", "½", "0x10"):
        judge(compile_text(f'{field.replace("{}", digits)}\nlick "Gate"\n| e8 |\n'))
        judge(compile_text(f'key A minor\nlick "Gate"\n{field.replace("{}", digits)}\n| e8 |\n'))


# --- characters ------------------------------------------------------------------------------------------------------

UNSEEN = [
    "\0", "\x01", "\x1b[31m", "\x7f", "\x85", "\u2028", "\u2029", "\u202e", "\u2066", "\u200b", "\u200d", "\u00ad", "\ufeff",
    "\ud800", "\udfff", "\U000e0041",
]  # fmt: skip


@pytest.mark.parametrize(
    "place",
    [
        "{}key A minor",
        "key{} A minor",
        "key A{} minor",
        'lick "{}"',
        "| e{}8",
        "| e8{} e5",
        "| {}",
        "#{}",
        '| @"{}" e8',
    ],
)
def test_characters_nobody_sees(place: str) -> None:
    for char in UNSEEN:
        text = f'key A minor\nlick "Gate"\n{place.replace("{}", char)} B8 |\n'
        judge(compile_text(text))
        if "|" in place and not place.startswith(("#", "| @")) and char != "\U000e0041":
            assert "L130" in codes(text), ascii(char)


def test_line_ends_of_all_kinds() -> None:
    lines = EXAMPLE.split("\n")
    wanted = [(d.code, d.span) for d in compile_text(EXAMPLE).diagnostics]
    for end in ("\r\n", "\r"):
        assert [(d.code, d.span) for d in compile_text(end.join(lines)).diagnostics] == wanted
    assert [(d.code, d.span) for d in compile_text("\ufeff" + EXAMPLE).diagnostics] == wanted
    for end in ("\x85", "\u2028", "\x0b", "\x0c", "\n\r"):
        judge(compile_text(end.join(lines)))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xef\xbb\xbf",
        b"\xff\xfe|",
        b"\xfe\xff",
        b"\xed\xa0\x80",
        b"\xc0\xaf",
        b"\xf4\x90\x80\x80",
        b"\xef\xbb\xbf" * 3,
        b"\n" * 999,
    ],
)
def test_bytes_at_the_edges(data: bytes) -> None:
    assert judge(compile_bytes(data)).diagnostics


@pytest.mark.parametrize(
    "text",
    [
        'lick "', 'lick "a', 'lick "\\', 'lick "\\"', 'lick "a"b"', 'lick "a" "b"', "lick “a", "lick “a”", 'lick ""', "lick", 'lick"a"', "LICK", "licks",
        HEAD + '@"', HEAD + '@"a', HEAD + '@"a\\', HEAD + '@"a\\"', HEAD + "@“", HEAD + '@"a" | @"', HEAD + "@", HEAD + '"', HEAD + '" e8 "',
        'meant L203 "a\nlick "b"\n| e8 |',
    ],
)  # fmt: skip
def test_quotes_left_open(text: str) -> None:
    found = judge(compile_text(text)).diagnostics
    assert any(d.severity == "error" for d in found)


# --- what it costs ---------------------------------------------------------------------------------------------------

REPEATED = [
    *SIGNS, *"abz_–“é\u0000\u202e\U0001f3b8{}+;$", "e8 ", "e8", "e8&", "A-&", "e8^10r", "1:", "1:1", "e8h", "7h9p", '"e8', "| e8 ", "|\n", ":|",
    "|: e8 :|", "1st ",
    "|1st e8 ", "1/8 ", "1/8.", " #", "# \n", 'lick "a"\n', 'lick "a"\n| e8 |\n', "lick", "\n#", "\ntempo 80", "\n x", "\nkey", "5:", "( ", "(pm",
    "(pm: ", "3[",
    "3[(pm: ", ")]", "e8//", "\\e", "^^", "<1", "G5<", "e.", "e-", "-e8", "e-&", "@mf ", "@tempo=60 ", '@"', '@"\\', "@a", "% ", "|%", "3[e8 e8 e8]", "3[",
    "(rake: D e8)", "(trill: G5h7)", "(grace: e8)", "e8'1", "e8!", "e8.", "B8..", "E ", "EADG", "\t#", "key A\n ", "8B ", "e99 ", "G7/G9 ", "x3 ", ":|x3 ",
    "e8 h9 p8 ~ ", "z | ", "\n# x\n|", "(zzz: e8) ", "“", "e8^1/2 ", "0:5 ", "e5= ", "(ring: e5 B5) ", "e5&B5 h7 ", "B8 . h9 ",
]  # fmt: skip
IN_FILES: dict[str, Callable[[int], str]] = {
    "letters": lambda n: "a" * n,
    "spaces in a field": lambda n: f"key A{' ' * n}x",
    "unknown fields": lambda n: (
        "".join(f"f{'abcdefghij'[i % 10] * (i % 30)} b\n" for i in range(n // 18)) + HEAD + "e8"
    ),
    "bad fields and licks": lambda n: "zzz a\n" * (n // 12) + 'lick "a"\n| e8 |\n' * (n // 32),
    "notes and licks": lambda n: "note a\n" * (n // 14) + 'lick "a"\n' * (n // 18),
    "unreadable lines and licks": lambda n: "! a\n" * (n // 8) + 'lick "a"\n| e8 |\n' * (n // 32),
    "meant and licks": lambda n: 'meant L203 "a"\n' * (n // 30) + 'lick "a"\n| e8 |\n' * (n // 32),
    "chords": lambda n: "chords " + "A7 | " * (n // 5) + "\n" + HEAD + "e8",
    "degrees": lambda n: "key A minor\nscale " + "1 " * (n // 2) + "\n" + HEAD + "e8",
    "strings": lambda n: "tuning " + "E2 " * (n // 3) + "\n" + HEAD + "e8",
    "letters of a tuning": lambda n: "tuning " + "E" * n + "\n" + HEAD + "e8",
    "sharps": lambda n: "key " + "#" * n + "\n" + HEAD + "e8",
    "groups": lambda n: "meter 7/8 " + "2+" * (n // 2) + "\n" + HEAD + "e8",
    "boxes": lambda n: "key A minor\nbox " + "1 " * (n // 2) + "\n" + HEAD + "e8",
    "a long title": lambda n: f'lick "{"a" * n}"\n| e8',
    "escapes in a title": lambda n: 'lick "' + "\\" * n + "\n| e8",
    "escaped quotes in a field": lambda n: "note " + '\\"' * (n // 2) + " # a\n" + HEAD + "e8",
    "quotations that nothing closes": lambda n: HEAD + "@«a|" * (n // 4),
    "a drawn line of tab": lambda n: f'lick "a"\ne|{"-" * n}q\n',
    "one line of bars": lambda n: HEAD + "e8 e8 e8 e8 e8 e8 e8 e8 | " * (n // 26),
    "words of all names": lambda n: (
        HEAD + "".join(f"({'abcdefgh'[i % 8] * (i % 20 + 1)}: e8) " for i in range(n // 18))
    ),
}


def repeated(piece: str) -> Callable[[int], str]:
    return lambda n: HEAD + (piece * (n // len(piece) + 1))[:n]


CASES = {repr(piece): repeated(piece) for piece in REPEATED} | IN_FILES


def effort_of(text: str) -> int:
    """The number of calls that compiling it takes."""
    made: list[Compilation] = []
    took = calls(lambda: made.append(compile_text(text)))
    judge(made[0])
    return took


def cost(text: str, tries: int) -> float:
    """Seconds of processor time to compile, the best of some tries."""
    made: list[Compilation] = []
    took = seconds(lambda: made.append(compile_text(text)), tries)
    judge(made[0])
    return took


@cache
def plain() -> int:
    """The calls for as many characters of plain notes, in bars of eight."""
    return effort_of(IN_FILES["one line of bars"](1 << 11))


@pytest.mark.parametrize(
    "case",
    [
        pytest.param(case, id=name, marks=pytest.mark.slow if n % 3 else ())
        for n, (name, case) in enumerate(CASES.items())
    ],
)
def test_two_kilobytes_of_anything(case: Callable[[int], str]) -> None:
    """It costs what plain notes cost, or a few times as much, and no more than eight times as much as a quarter of it."""
    effort_of(case(1 << 11))  # what is imported, and what is looked up once and kept, is the quarter's too
    took = effort_of(case(1 << 11))
    assert took < 6 * plain()
    assert took < 8 * effort_of(case(1 << 9))


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_growth_is_linear(name: str) -> None:
    """From 2^14 to 2^18 characters the cost grows by an exponent of 1.2 at most, and a whole MiB takes seconds."""
    case = CASES[name]
    small, large = cost(case(1 << 14), 3), cost(case(1 << 18), 2)
    slope = math.log(large / max(small, 0.01)) / math.log(1 << 4)
    whole = cost(case((1 << 20) - 100), 1)
    print(f"{name:30} 16 kB {small:6.3f} s  256 kB {large:6.3f} s  exponent {slope:5.2f}  1 MiB {whole:6.2f} s")
    assert slope <= 1.2
    assert whole < 8
