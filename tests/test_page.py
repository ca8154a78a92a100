"""The lesson page: one file, whole, safe, the same each time, and right by the timing sheet."""

from __future__ import annotations

import re
from base64 import b64decode, b64encode
from collections.abc import Iterator
from fractions import Fraction
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest

from lickwright.cli import main
from lickwright.compiler import compile_file, compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.core.fast_dataclass import replace
from lickwright.engraving import typefaces
from lickwright.export import LoweredLick, Options, SheetRequest
from lickwright.export import page as page_export
from lickwright.export.page import music, recording, sections
from lickwright.export.page.markup import asset, data_block, document, el, escaped
from lickwright.export.timing import NOTE
from lickwright.music.practice import Ladder
from pages import LICK, Reader, hosts_in, lick_of, page_of, score_of
from payloads import PAYLOADS

SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("**/*.lick"))


@pytest.fixture(scope="module")
def page() -> str:
    return page_of(lick_of())


@pytest.fixture(scope="module")
def sounded() -> str:
    return page_of(lick_of(), sound=True)


# --- what is in it


def test_a_page_says_what_the_lick_says(page: str) -> None:
    read = Reader(page)
    assert read.all("title")[0].text == read.all("h1")[0].text == "Window seat"
    facts = dict(zip((e.text for e in read.all("dt")), (e.text for e in read.all("dd")), strict=True))
    assert (facts["key"], facts["tempo"]) == ("A minor", "quarter note = 96")
    assert [one.text for one in read.elements if one.attributes.get("class") == "rights"] == ["free to copy"]
    assert facts["box"].startswith("1 (E shape)")
    words = read.all("main")[0].text
    for said in ("by Orla Venn", "Let the bend sing.", "evening, slow bend", "Practice ladder", "Warm up"):
        assert said in words


def test_a_pick_up_is_counted_in_beats() -> None:
    page = page_of(lick_of('lick "x"\npickup 1/8\n| e8 | e5 B8 B5 G7 G5 D7 D5 A7 | A5 - - - - - - ||\n'))
    assert "4/4, with a pick-up of half a beat; bar 2 shorter by as much" in [
        one.text for one in Reader(page).all("dd")
    ]


def test_the_way_back_to_the_index_is_hidden_from_who_did_not_come_from_there(page: str) -> None:
    (nav,) = Reader(page).all("nav")
    assert "hidden" in nav.attributes and nav.text == "All licks"
    (link,) = [one for one in Reader(page).all("a") if one.attributes.get("id") == "index-link"]
    assert link.attributes["href"] == "index.html"


@pytest.fixture
def no_faces(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[None]:
    """Lets the faces be gone, also those that were read before."""

    def forget() -> None:
        for cached in (typefaces.typeface, typefaces.text_width, typefaces.printable):
            cached.cache_clear()

    forget()
    monkeypatch.setattr(typefaces, "_FOLDER", str(tmp_path / "nowhere"))
    yield
    forget()


@pytest.mark.parametrize("sound", [False, True])
def test_a_face_that_is_missing_is_said_as_for_a_sheet(
    sound: bool, no_faces: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lick = lick_of()
    for form, what in (("sheet", "sheet"), ("page", "lesson page")):
        export = lick.emit(form, Options(page_sound=sound))
        assert export.content is None
        (finding,) = export.losses
        assert (finding.code, finding.severity) == ("L513", "error")
        assert finding.message.startswith(f"no {what} was made: s") and "ttf cannot be read" in finding.message
        assert finding.hint == "install lickwright again"
    if not sound:
        monkeypatch.chdir(tmp_path)
        Path("a.lick").write_text(LICK)
        assert main(["make", "a.lick", "--to", "page,tab", "--silent-page"]) == 1
        assert "no lesson page was made: s" in capsys.readouterr().err
        assert [path.name for path in Path("out").rglob("window-seat*")] == ["window-seat.tab.txt"], "all else is made"


def test_a_page_says_what_is_left_out_to_keep_it_small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "record_mp3", lambda *_, slow: b"")

    def said(bars: int, sound: bool = True) -> str:
        page = page_of(lick_of('lick "x"\ntempo 60\nstep 1/1\n' + "| e5 " * bars + "||\n"), sound)
        (words,) = [one.text for one in Reader(page).elements if one.attributes.get("id") == "sound-said"]
        return words

    assert "Hz" not in said(4) and "Slow speeds use a recording" in said(4)
    assert "leave out overtones above 6,000 Hz" in said(6)
    assert "recordings of 90 seconds at most, and this lick is longer" in said(23)
    assert "longer" not in said(4, sound=False) and "plain plucked tones" in said(4, sound=False)


def test_every_element_that_the_scripts_ask_for_is_there(page: str) -> None:
    asked = {id for name in page_export._SCRIPTS for id in re.findall(r'byId\("([a-z-]+)"\)', asset(name))}
    ids = [one.attributes["id"] for one in Reader(page).elements if "id" in one.attributes]
    assert len(asked) >= 12
    assert asked <= set(ids)
    assert len(ids) == len(set(ids)), "an id stands twice"
    labelled = {word for one in Reader(page).elements for word in (one.attributes.get("aria-labelledby") or "").split()}
    assert labelled <= set(ids)


def test_the_table_is_the_timing_sheet(page: str) -> None:
    cells = [one.text for one in Reader(page).all("td")]
    notes = [row for row in lick_of().timing() if row.event == NOTE]
    heads = [one.text for one in Reader(page).all("th")]
    assert heads == ["bar", "count", "seconds", "string", "fret", "note", "how it is played", "bent to"], (
        "no fingers are written"
    )
    assert len(cells) == 8 * len(notes)
    for n, row in enumerate(notes):
        assert cells[8 * n : 8 * n + 6] == [
            str(row.bar),
            row.count,
            f"{row.at_s:.2f}",
            str(row.string),
            str(row.fret),
            row.note,
        ]


def test_the_ladder_has_the_rungs_of_the_practice_set(page: str) -> None:
    rungs = [one.attributes["data-bpm"] for one in Reader(page).all("button") if one.attributes.get("class") == "rung"]
    assert rungs == [f"{float(rung):g}" for rung in Ladder().rungs(96)]


def test_a_pause_on_the_first_note_is_no_other_tempo() -> None:
    paused = page_of(lick_of(LICK.replace("| e8 e5", "| @fermata e8 e5", 1)))
    rungs = [
        one.attributes["data-bpm"] for one in Reader(paused).all("button") if one.attributes.get("class") == "rung"
    ]
    assert rungs == [f"{float(rung):g}" for rung in Ladder().rungs(96)]
    assert score_of(paused)["bpm"] == 96
    assert score_of(paused)["takes"][0]["bar"] == 2.5


def test_a_part_begins_at_the_tempo_that_is_reached_there() -> None:
    music = "| A5 A7 D5 D7 | @tempo=60 A5 A7 D5 D7 | A5 A7 D5 D7 ||"
    (lick,) = compile_text(f'lick "x"\ntempo 120\nstep 1/4\n{music}\n').licks
    options = Options(bars=(2, 3))
    page = lick.emit("page", options).data.decode()
    assert "quarter note = 60<" in page
    assert score_of(page)["bpm"] == 60
    rungs = [one.attributes["data-bpm"] for one in Reader(page).all("button") if one.attributes.get("class") == "rung"]
    assert rungs == [f"{float(rung):g}" for rung in Ladder().rungs(Fraction(60))]
    practice = replace(options, recording=replace(options.recording, practice=True))
    sheet = lick.emit("timing-text", practice).data.decode()
    assert f"practice ladder: 1/4 = {', '.join(str(rung) for rung in rungs)}" in sheet


def test_the_downloads_are_the_exports(page: str) -> None:
    lick = lick_of()
    links = {
        one.attributes["download"]: str(one.attributes["href"])
        for one in Reader(page).all("a")
        if "download" in one.attributes
    }
    assert b64decode(links["window-seat.mid"].partition(",")[2]) == lick.midi()
    assert b64decode(links["window-seat.tab.txt"].partition(",")[2]).decode() == lick.tab()


def test_the_neck_has_every_note_and_says_which_the_lick_plays(page: str) -> None:
    places = {
        str(one.attributes["data-place"]): str(one.attributes["class"])
        for one in Reader(page).elements
        if "data-place" in one.attributes
    }
    own = {f"{string}-{fret}" for string, fret in lick_of().places}
    assert {place for place, kind in places.items() if kind.endswith("own")} == own
    assert places["4-7"] == "place tonic", "A, on the D string, which the lick leaves out"
    assert len(places) == 12


def test_a_left_handed_neck_is_mirrored_and_a_staff_is_drawn_on_request() -> None:
    def across(page: str) -> dict[str, float]:
        return {place: float(x) for place, x in re.findall(r'data-place="([0-9-]+)"><circle cx="([0-9.]+)"', page)}

    lick = lick_of()
    right = page_of(lick)
    left = lick.emit("page", Options(sheet=SheetRequest(left_handed=True))).data.decode()
    sums = {across(left)[place] + x for place, x in across(right).items()}
    assert len(sums) == 1, "every note is as far from the one end as it was from the other"
    assert len(set(across(right).values())) > 2
    staff = lick.emit("page", Options(sheet=SheetRequest(staff=True, count=True))).data.decode()
    assert len(staff) > len(right) + 5000


# --- what the player knows


@pytest.mark.parametrize("path", SAMPLES[::4], ids=lambda path: path.stem)
def test_the_player_plays_what_the_timing_sheet_says(path: Path) -> None:
    for lick in compile_file(path).licks:
        (take,) = score_of(page_of(lick))["takes"]
        rows = [row for row in lick.timing() if row.event == NOTE]
        played = take["notes"]
        starts = sorted((note[3], note[1]) for note in played)
        for row in rows:
            assert any(abs(at - row.at_s) < 0.0011 and string == row.string for at, string in starts), (lick.title, row)
        assert len({(note[0], note[3]) for note in played}) >= len(rows)
        assert take["bars"][0]["at"] <= min(at for at, _ in starts) + 0.2


def test_a_bar_that_is_played_again_lights_the_same_notes() -> None:
    (take,) = score_of(page_of(lick_of('lick "Gate"\n|: e8 e5 B8 e5 G7 - - - :|\n')))["takes"]
    events = [note[0] for note in take["notes"]]
    assert events[:5] == events[5:]
    assert [bar["name"] for bar in take["bars"]] == ["1", "1"]
    assert take["bars"][1]["at"] == pytest.approx(2.4)


def test_the_slow_recording_has_times_of_its_own(sounded: str) -> None:
    full, slow = score_of(sounded)["takes"]
    assert (full["percent"], slow["percent"]) == (100, 60)
    assert slow["end"] == pytest.approx(full["end"] / 0.6, abs=0.002)
    assert len(full["notes"]) == len(slow["notes"])


def test_the_count_in_is_a_bar_of_beats_before_the_music() -> None:
    (take,) = score_of(page_of(lick_of()))["takes"]
    assert [round(at / 0.625) for at, _ in take["lead"]] == [-4, -3, -2, -1]
    assert [first for _, first in take["lead"]] == [1, 0, 0, 0]
    (take,) = score_of(page_of(lick_of('lick "Gate"\nmeter 3/4\npickup 1/4\n| e5 e8 |\n| e8 e5 B8 e5 G7 - ||\n')))[
        "takes"
    ]
    assert len(take["lead"]) == 2, "the pick-up takes the place of the third beat"


# --- recordings


def test_a_page_with_recordings_is_small_and_the_same_each_time(sounded: str) -> None:
    assert page_of(lick_of(), sound=True) == sounded
    sounds = re.findall(r'id="take-\d">([^<]+)<', sounded)
    assert len(sounds) == 2
    assert all(b64decode(sound)[:2] in (b"\xff\xfb", b"\xff\xf3", b"ID") for sound in sounds), "MP3 frames"


@pytest.mark.parametrize(
    "sound", ["acoustic", pytest.param("crunch", marks=pytest.mark.slow)]
)  # the brightest, and one that is distorted
def test_a_page_of_ten_busy_seconds_is_under_250_kb(sound: str) -> None:
    notes = "| e8 e5 B8 B5 G7 G5 B5 B8 e5 e8 B8 B5 G7 G5 D7 D5 |\n"
    lick = lick_of(f'lick "Busy"\nsound {sound}\nkey A minor\nlevel 5\ntempo 96\nstep 1/16\n' + 4 * notes)
    assert lick.duration == 10
    assert len(page_of(lick, sound=True).encode()) < 250_000
    assert len(page_of(lick).encode()) < 110_000


def test_words_that_change_leave_the_recordings_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    options = Options(page_sound=True)
    before, after = (lick_of(text).emit("page", options) for text in (LICK, LICK.replace("sing", "ring")))
    other = lick_of(LICK.replace("e8 e5", "e5 e5")).emit("page", options)
    assert before.sound == after.sound != other.sound
    old = before.data
    monkeypatch.setattr(recording, "record_mp3", None)
    file = BytesIO()
    assert after.retag is not None
    after.retag(BytesIO(old), file)
    sounds = re.compile(rb'id="take-\d">([^<]+)<')
    assert sounds.findall(file.getvalue()) == sounds.findall(old)
    assert "Let the bend ring." in Reader(file.getvalue().decode()).all("main")[0].text
    with pytest.raises(ValueError, match="no recordings"):
        after.retag(BytesIO(b"<p>another file</p>"), BytesIO())


def test_without_the_libraries_it_plays_plain_tones_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "can_record", lambda: False)
    made = lick_of().emit("page", Options(page_sound=True))
    assert [loss.code for loss in made.losses] == ["L515"]
    assert "plain plucked tones" in made.data.decode()
    assert made.data.decode() == page_of(lick_of())


def test_a_long_lick_plays_plain_tones_and_says_so() -> None:
    made = lick_of(LICK.replace("tempo 96", "tempo 40").replace("tempo 40", "tempo 10")).emit(
        "page", Options(page_sound=True)
    )
    assert made.losses == ()
    long = lick_of('lick "Long"\ntempo 20\n' + "| e8 e5 B8 e5 G7 - - - |\n" * 10)
    made = long.emit("page", Options(page_sound=True))
    assert ["a page holds 90 seconds" in loss.message for loss in made.losses] == [True]
    assert "take-0" not in made.data.decode()


# --- safety


def _dressed(lick: CompiledLick, words: str) -> CompiledLick:
    """The lick with the same words in every place where a user's words can stand."""
    timeline = lick.timeline
    assert timeline is not None
    said = dict.fromkeys(("by", "rights", "source", "tags", "style"), words)
    settings = replace(timeline.settings, **said, notes=(words, words))
    directions = tuple(
        direction._replace(text=words) if direction.kind == "words" else direction for direction in timeline.directions
    )
    dressed = replace(timeline, title=words, settings=settings, directions=directions)
    return lick._replace(title=words, timeline=dressed, lowered=LoweredLick(dressed))


def _frame(page: str) -> list[tuple[str, tuple[str, ...]]]:
    """The elements of a page; lines of text one after the other count once, since long words are broken in the music."""
    found = [(one.name, tuple(one.attributes)) for one in Reader(page).elements]
    return [one for n, one in enumerate(found) if n == 0 or one[0] != "text" or one != found[n - 1]]


def test_there_are_sixty_payloads() -> None:
    assert len(set(PAYLOADS)) >= 60


def test_no_words_of_a_user_become_part_of_the_page() -> None:
    lick = lick_of('lick "Gate"\nkey A minor\nbox 1\nlevel 1\n| @"gently" e8^10 - - - B5 - - - ||\n')
    plain = _frame(page_of(_dressed(lick, "plain")))
    for payload in (
        " ".join(PAYLOADS[n::10]) for n in range(10)
    ):  # one that breaks out changes the frame, whatever stands beside it
        page = page_of(_dressed(lick, payload))
        assert _frame(page) == plain, payload
        read = Reader(page)
        seen = "".join("\ufffd" if ch == "\0" else ch for ch in payload).replace("\r\n", "\n").replace("\r", "\n")
        assert read.all("h1")[0].text.replace("\r", "\n") == seen, payload
        assert read.all("title")[0].text.replace("\r", "\n") == seen
        assert not [
            one for one in read.elements if any(name.startswith("on") or name == "style" for name in one.attributes)
        ]
        addresses = [
            str(one.attributes.get(name))
            for one in read.elements
            for name in ("href", "src", "action")
            if name in one.attributes
        ]
        assert addresses[0] == "index.html"
        assert all(re.match(r"data:(audio/midi|text/plain);base64,", address) for address in addresses[1:]), payload


def test_only_the_pages_own_style_and_script_may_run(sounded: str) -> None:
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', sounded)
    assert policy is not None
    assert sounded.index("Content-Security-Policy") < min(
        sounded.index("<style>"), sounded.index("<script"), sounded.index("<title>")
    )
    for kind in ("style", "script"):
        (text,) = re.findall(rf"<{kind}>(.*?)</{kind}>", sounded, re.DOTALL)
        assert f"{kind}-src 'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" in policy[1]
    assert policy[1].startswith("default-src 'none'; base-uri 'none'; form-action 'none'")
    assert "unsafe" not in policy[1]
    assert "connect-src" not in policy[1], "which falls back to none"


def test_a_page_names_no_host(sounded: str) -> None:
    assert hosts_in(re.sub(r"base64,[A-Za-z0-9+/=]+|id=\"take-\d\">[^<]+", "", sounded)) == set()
    for word in (
        "fetch(",
        "XMLHttpRequest",
        "sendBeacon",
        "WebSocket",
        "EventSource",
        "import(",
        "innerHTML",
        "eval(",
        "new Function",
    ):
        assert word not in sounded


def test_markup_escapes_what_is_no_markup() -> None:
    assert el("p", "<b>", el("i", "&"), class_="a\"b'", hidden=True, title=None) == (
        '<p class="a&quot;b&#39;" hidden>&lt;b&gt;<i>&amp;</i></p>'
    )
    assert escaped("\x00\x0b\ud800\ufdd0") == "\ufffd" * 4
    assert "</script" not in data_block("a", "</script><!--").removesuffix("</script>")
    with pytest.raises(ValueError, match="no name of an attribute"):
        el("p", **{"on click": "x"})
    with pytest.raises(ValueError, match="end tag"):
        document("a", [], ["</style>"])


# --- bounds


def test_a_very_long_title_and_very_many_notes_make_a_page_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    lick = _dressed(lick_of(), "Æ" * 5000)
    assert len(page_of(lick)) < 300_000
    monkeypatch.setattr(sections, "MOST_ROWS", 100)
    monkeypatch.setattr(music, "_MOST_EVENTS", 100)
    many = lick_of('lick "Many"\nstep 1/16\n' + "| e8 e5 B8 e5 e8 e5 B8 e5 e8 e5 B8 e5 e8 e5 B8 e5 |\n" * 8)
    read = Reader(page_of(many))
    assert len(read.all("td")) == 7 * 100
    assert "28 more notes" in read.all("main")[0].text
    assert len([one for one in read.all("svg") if one.attributes.get("class") != "mark"]) == 2, (
        "the neck, and the music once for all widths"
    )


# --- make


def test_make_writes_pages_by_the_house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("porch.lick").write_text(LICK)
    assert main(["make", "porch.lick", "--to", "page", "--silent-page"]) == 0
    silent = Path("out/porch/window-seat.html").read_bytes()
    assert silent.decode() == page_of(lick_of())
    assert main(["make", "porch.lick", "--to", "page"]) == 0
    assert b"take-1" in Path("out/porch/window-seat.html").read_bytes()
    Path("lickwright.toml").write_text('[make]\nto = "page"\nsilent-page = true\n')
    assert main(["make", "porch.lick"]) == 0
    assert Path("out/porch/window-seat.html").read_bytes() == silent


def test_make_records_a_page_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("porch.lick").write_text(LICK)
    assert main(["make", "porch.lick", "--to", "page"]) == 0
    Path("porch.lick").write_text(LICK.replace("sing", "ring"))
    monkeypatch.setattr(recording, "record_mp3", None)
    assert main(["make", "porch.lick", "--to", "page", "--dry-run"]) == 0
    assert main(["make", "porch.lick", "--to", "page"]) == 0
    assert b"ring." in Path("out/porch/window-seat.html").read_bytes()


def test_note_values_have_names_not_numbers() -> None:
    page = page_of(lick_of('lick "Gate"\nmeter 6/8\ntempo 80\nfeel swing 1/16\n| e8 e5 B8 e5 G7 - ||\n'))
    read = Reader(page)
    assert "dotted quarter note = 80, swing: two sixteenths as long and short" in read.all("header")[0].text
    assert any("Dotted quarter notes a minute." in one.text for one in read.all("p"))
    assert "1/4." not in read.all("main")[0].text


def test_the_neck_says_which_numbers_it_shows_and_has_playing_order_too(page: str) -> None:
    read = Reader(page)
    said = [one.text for one in read.elements if "numbers" in (one.attributes.get("class") or "")]
    assert [words for words in said if words] == ["The numbers are:", "scale degrees", "playing order"]
    orders = [one.text for one in read.all("text") if one.attributes.get("class") == "order"]
    played = dict.fromkeys((row.string, row.fret) for row in lick_of().timing() if row.event == NOTE)
    assert sorted(map(int, orders)) == list(range(1, len(played) + 1))
    assert "fret numbers" in page_of(lick_of('lick "Gate"\n| e8 e5 B8 e5 e8 - G7 - ||\n'))


def test_speed_comes_before_the_music(page: str) -> None:
    ids = [one.attributes.get("id") for one in Reader(page).elements]
    assert ids.index("play") < ids.index("speed") < ids.index("music")


def test_a_phone_reads_no_words_of_mouse_and_keys(page: str) -> None:
    words = {
        one.attributes["class"]: one.text
        for one in Reader(page).all("p")
        if "by-" in (one.attributes.get("class") or "")
    }
    (touch,) = (text for kind, text in words.items() if kind is not None and "by-touch" in kind)
    assert not {"Drag", "drag", "Shift", "keys"} & set(re.findall(r"\w+", touch))
    assert "@media (hover: none) and (pointer: coarse)" in page


def test_flats_and_sharps_are_printed_signs() -> None:
    text = 'lick "Bb"\nstyle Bb blues\nkey Bb minor\nbox 1\nchords Bbm7b5 | F7#9\n| e9 e6 B9 e6 G8 - B6 e6 | e9 e6 B9 e6 G8 - B6 e6 ||\n'
    read = Reader(page_of(lick_of(text)))
    facts = dict(zip((e.text for e in read.all("dt")), (e.text for e in read.all("dd")), strict=True))
    assert (facts["key"], facts["style"]) == ("B♭ minor", "Bb blues"), "a user's own words stay as they are"
    texts = {one.text for one in read.all("text")}
    assert {"B♭m7♭5", "F7♯9", "♭3", "♭7"} <= texts
    assert not {"b3", "b7"} & texts
    assert "D♭5" in {one.text for one in read.all("td")}
