"""Printed sheets: a PDF that other programs read, text in order, faces embedded, the same bytes each time; pictures; a book; what can go wrong."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from lickwright.cli import main, sheet_book
from lickwright.compiler import compile_file, compile_text
from lickwright.engraving import typefaces
from lickwright.engraving.display_list import extent
from lickwright.engraving.engrave import EngravingOptions
from lickwright.engraving.neck import neck_places
from lickwright.engraving.paragraph import wrap_text
from lickwright.engraving.stops import bars_of_stops
from lickwright.engraving.typefaces import FACES, text_width, typeface
from lickwright.export import PAPERS, PRINT_SIZES, LoweredLick, Options, SheetRequest
from lickwright.export.sheet import _pages
from lickwright.export.sheet.blocks import SheetBlock, paginate
from lickwright.export.sheet.book import BookLick, book_pdf
from lickwright.export.sheet.content import lick_blocks
from lickwright.export.sheet.legend import legend_of
from lickwright.export.sheet.page_shape import MARGIN, PAPER, SCALE, page_shape
from lickwright.export.sheet.pdf_fonts import subset_file
from read_pdf import objects, pages, printed

SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("**/*.lick"))
LICK = (
    'by Mara Quill\nrights free to copy\nkey A minor\nbox 1\ntempo 90\nchords Am | D7\nnote Lay back.\nlick "Porch light"\n'
    "| e8 e5 B8^10 -r p5 G7~-- | (pm: E5 E5) D7h9 (ring: e5 B5) G5/7 ||\n"
)


def lowered(text: str) -> LoweredLick:
    (lick,) = compile_text(text).licks
    assert lick.lowered is not None, lick.diagnostics
    return lick.lowered


def sheet(text: str, **request: object) -> bytes:
    (lick,) = compile_text(text).licks
    return lick.emit("sheet", Options(sheet=SheetRequest(**request))).data  # type: ignore[arg-type]


def samples() -> list[LoweredLick]:
    return [lick.lowered for path in SAMPLES for lick in compile_file(path).licks if lick.lowered is not None]


def test_a_sheet_says_everything_in_reading_order() -> None:
    text = printed(sheet(LICK, count=True))
    order = ["Porch light", "by Mara Quill", "A minor", "1 (E shape), frets 5-8", "quarter note = 90", "4/4"]
    order += ["Practice", "Tips", "Lay back.", "Marks", "rights: free to copy"]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    music = text[text.index("4/4") : text.index("Practice")].split("\n")
    frets = [line for line in music if re.fullmatch(r"\d+|\(\d+\)", line)]
    assert "\n".join(["8", "5", "8", "(8)", "5", "7"]) in "\n".join(frets)
    assert {"full", "PM", "let ring", "Am", "D7", "1", "&"} <= set(music)


def test_a_sheet_names_note_values_as_a_player_does() -> None:
    """Neither facts, ladder nor a change of tempo show how the notation writes a value."""
    head = 'lick "Slow stairs"\nmeter 12/8\ntempo 1/4. = 54\n'
    text = printed(
        sheet(head + "step 1/8\n| e5 - - e5 - - e5 - - e5 - - | @tempo=1/4.=50 e5 - - - - - . . . . . . ||\n")
    )
    flat = " ".join(text.split())
    assert "1/4" not in flat
    assert "dotted quarter note = 54" in flat and "dotted quarter note = 50" in flat
    assert "Dotted quarter notes a minute. Tick a tempo once it was clean three times in a row." in flat
    swung = " ".join(printed(sheet('lick "Stroll"\nfeel shuffle\nstep 1/8\n| e5 e5 e5 e5 e5 - - - ||\n')).split())
    assert "shuffle: two eighths as long and short, 2:1" in swung


def test_parentheses_mean_one_thing_and_are_in_the_legend() -> None:
    """A ghost note stands in square brackets; a note that is only tied on is explained too."""
    found = lowered('lick "x"\nstep 1/8\n| e5? B5?&G5? - - e7 - e8 - | e5 - - - - - . . ||\n').grid()
    marks = [mark for bar in bars_of_stops(found, False) for stop in bar.stops for mark in stop.marks]
    assert [mark.text for mark in marks if not mark.held] == ["[5]", "[5]", "[5]", "7", "8", "5"]
    assert all(mark.text.startswith("(") for mark in marks if mark.held)
    rows = {row.sentence: row.items for row in legend_of(found)}
    assert rows["ghost note: barely sounded"][0].text == "[7]"  # type: ignore[union-attr]
    tied = lowered('lick "x"\nstep 1/8\n| e5 - - - - e5 - - ||\n').grid()
    assert any(mark.held for bar in bars_of_stops(tied, False) for stop in bar.stops for mark in stop.marks)
    assert "still sounding: hold it, don't pick again" in {row.sentence for row in legend_of(tied)}


def test_the_legend_explains_the_small_heads_of_a_staff() -> None:
    said = "on the staff, the pitch that a bend or release comes to"
    grid = lowered(LICK).grid()
    assert said in {row.sentence for row in legend_of(grid, EngravingOptions(staff=True))}
    assert said not in {row.sentence for row in legend_of(grid)}
    plain = lowered('lick "x"\nstep 1/4\n| e5 e5 e5 e5 ||\n').grid()
    assert said not in {row.sentence for row in legend_of(plain, EngravingOptions(staff=True))}


def test_the_legend_explains_a_quarter_step_on_the_staff() -> None:
    text = 'lick "x"\nstep 1/8\n| G5^quarter - - - e5 - - - ||\n'
    words = "on the staff, a quarter step higher"
    assert words in printed(sheet(text, staff=True)) and words not in printed(sheet(text))
    assert words not in printed(sheet(text.replace("quarter", "7"), staff=True))


def test_every_part_of_a_file_is_in_order_and_told_to_a_reader() -> None:
    found = objects(sheet(LICK))
    catalog = next(body for body in found.values() if b"/Type /Catalog" in body)
    assert b"/Marked true" in catalog and b"/StructTreeRoot" in catalog and b"/Lang (en)" in catalog
    elements = [body for body in found.values() if b"/Type /StructElem" in body and b"/Pg" in body]
    (content,) = pages(found)
    told = [int(number) for number in re.findall(rb"/MCID (\d+)", content)]
    assert told == list(range(len(elements)))
    assert [int(re.search(rb"/K (\d+)", body)[1]) for body in elements] == told  # type: ignore[index]
    assert content.count(b" BDC") + content.count(b" BMC") == content.count(b"EMC")
    kinds = [re.search(rb"/S /(\w+)", body)[1] for body in elements]  # type: ignore[index]
    assert kinds[0] == b"H1" and kinds.count(b"Figure") >= 2
    assert all(b"/Alt <feff" in body for body in elements if b"/S /Figure" in body)


def test_the_bytes_are_the_same_in_another_process() -> None:
    code = f"import sys; from lickwright.compiler import compile_text; sys.stdout.buffer.write(compile_text({LICK!r}).licks[0].emit('sheet').data)"
    made = [
        subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        )
        for seed in ("1", "2")
    ]
    assert made[0].stdout == made[1].stdout == sheet(LICK)
    assert not re.search(rb"/(CreationDate|ModDate|ID) ", made[0].stdout)


def test_poppler_reads_the_text_and_finds_every_face_embedded(tmp_path: Path) -> None:
    for program in ("pdftotext", "pdffonts"):
        if shutil.which(program) is None:
            pytest.skip(f"{program} is missing: apt-get install poppler-utils")
    for number, lick in enumerate(samples()[::12]):
        (tmp_path / "a.pdf").write_bytes(emitted(lick))
        text = subprocess.run(["pdftotext", "-raw", "a.pdf", "-"], cwd=tmp_path, capture_output=True, check=True)
        assert not text.stderr, number
        assert text.stdout.decode().startswith(lick.timeline.title)
        frets = [str(s.fret) for s in lick.timeline.sounds if s.pass_no == 0 and s.fret is not None and not s.dead]
        words = re.findall(r"\d+", text.stdout.decode())
        assert not [fret for fret in set(frets) if fret not in words]
        fonts = subprocess.run(["pdffonts", "a.pdf"], cwd=tmp_path, capture_output=True, check=True, text=True)
        rows = [line.split() for line in fonts.stdout.splitlines()[2:]]
        assert len(rows) >= 3
        assert all(re.match("[A-Z]{6}\\+Noto", row[0]) and row[-5:-2] == ["yes", "yes", "yes"] for row in rows), rows


def emitted(lick: LoweredLick, **request: object) -> bytes:
    from lickwright.export.sheet import emit

    return emit(lick, Options(sheet=SheetRequest(**request))).data  # type: ignore[arg-type]


def test_a_strict_reader_opens_a_sheet() -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf is missing: pip install -e '.[dev]'")
    from io import BytesIO

    reader = pypdf.PdfReader(BytesIO(sheet(LICK)), strict=True)
    assert reader.metadata.title == "Porch light"
    assert "Porch light" in reader.pages[0].extract_text()


# --- the page --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("a4", "normal"), ("letter", "large"), ("a4", "small")])
def test_nothing_leaves_the_page_and_no_block_is_cut(paper: str, size: str) -> None:
    request = SheetRequest(paper=paper, size=size, count=True)
    shape = page_shape(request)
    room, width = shape.room, shape.column
    assert abs(width * SCALE[size] + 2 * MARGIN - PAPER[paper][0]) < 0.01
    for lick in samples()[::3]:
        for page in paginate(lick_blocks(lick.grid(), Options(sheet=request), width, "x"), room):
            end = 0.0
            for placed in page:
                assert placed.y >= end - 0.01
                end = placed.y + placed.block.height * placed.scale
                boxes = [extent(group) for group in placed.block.items if group.items]
                assert all(box.left >= -0.5 and box.right <= width + 1.5 for box in boxes), lick.timeline.title
                assert all(box.bottom <= placed.block.height + 4.0 for box in boxes), lick.timeline.title
            assert end <= room + 0.01


def test_blocks_fill_pages_and_headings_stay_with_what_follows() -> None:
    head, body = SheetBlock((), 10.0, 5.0, keep=True), SheetBlock((), 40.0, 5.0)
    placed = paginate([body, head, body, head, body], 104.0)
    assert [[one.block.height for one in page] for page in placed] == [[40.0, 10.0, 40.0], [10.0, 40.0]]
    placed = paginate([body, head, body, head, body], 99.0)
    assert [[one.block.height for one in page] for page in placed] == [[40.0], [10.0, 40.0], [10.0, 40.0]]
    (page,) = paginate([SheetBlock((), 400.0)], 100.0)
    assert page[0].scale == 0.25


def test_the_neck_numbers_the_notes_in_playing_order() -> None:
    lick = lowered('key A minor\nbox 1\nlick "x"\n| e8 e5 B8 e5 G7 - - - ||\n')
    places = neck_places(lick.timeline)
    assert places is not None
    assert places.order == {(1, 8): 1, (1, 5): 2, (2, 8): 3, (3, 7): 4}
    assert (2, 5) in places.others and (1, 8) not in places.others
    right, left = (emitted(lick, formats=("svg",), left_handed=hand).decode() for hand in (False, True))
    assert right != left and "left-handed" not in right


def test_black_only_has_no_color() -> None:
    (content,) = pages(objects(sheet(LICK, black=True)))
    colors = set(re.findall(rb"([\d.]+ [\d.]+ [\d.]+) (?:rg|RG)", content))
    assert colors <= {b"0 0 0", b"1 1 1"}
    (content,) = pages(objects(sheet(LICK)))
    assert len(set(re.findall(rb"([\d.]+ [\d.]+ [\d.]+) (?:rg|RG)", content))) >= 3


def test_the_legend_explains_just_the_marks_that_are_there() -> None:
    said = [row.sentence for row in legend_of(lowered(LICK).grid())]
    for word in (
        "hammer-on",
        "pull-off",
        "slide up",
        "bend",
        "release",
        "vibrato",
        "palm mute",
        "each string rings",
        "still sounding",
    ):
        assert any(word in sentence for sentence in said), word
    assert len(said) == len(set(said))
    lick = lowered('lick "x"\nchords Am\nkey A minor\n| e8 e5 B8 . G7 e5 e8 e5 ||\n')
    asked = printed(emitted(lick, count=True))
    assert "(&)" in asked and "in the count: a rest, count it and play nothing" in asked.replace("\n", " ")
    from lickwright.export.sheet import emit

    tones = printed(emit(lick, Options(chord_tones=True)).data)
    assert "what the note is in the chord over it" in tones and "in the count" not in tones
    plain = legend_of(lowered('lick "x"\n| e8 e5 B8 e5 G7 e5 e8 e5 ||\n').grid())
    assert plain == []


def test_every_technique_of_the_samples_has_its_row_in_the_legend() -> None:
    for lick in samples():
        grid = lick.grid()
        said = {row.sentence for row in legend_of(grid)}
        for column in grid.columns:
            for cell in column.cells:
                if cell.starts and cell.sound.begin.sign:
                    assert cell.sound.begin.sentence in said, lick.timeline.title


def test_a_short_legend_has_no_page_to_itself() -> None:
    """Where the marks alone would come on a second page, practice and tips come with them."""
    (one,) = [one for one in samples() if one.timeline.title == "Kettle on the stove"]
    placed, shape = _pages(one, Options(sheet=SheetRequest(staff=True)))
    roles = [[block.block.items[0].role for block in page] for page in placed]
    assert len(roles) == 2 and "system" in roles[0]
    assert roles[0].count("section") == 0 and roles[1].count("section") == 3
    assert placed[1][-1].y > 0.3 * shape.room


def test_a_title_stays_with_its_first_system() -> None:
    blocks = lick_blocks(lowered(LICK).grid(), Options(), 400.0, "lick")
    first = next(n for n, block in enumerate(blocks) if block.items[0].role == "system")
    head = sum(block.height + block.gap for block in blocks[:first])
    filler = SheetBlock((), 500.0 - head - 1.0)
    placed = paginate([filler, *blocks], 500.0)
    assert [len(page) > 0 for page in placed][:2] == [True, True]
    assert len(placed[0]) == 1


def test_a_second_page_for_a_few_lines_is_spared() -> None:
    """Nine of ten samples fit a page; the print is no smaller than nine tenths for that."""
    numbers = [len(pages(objects(emitted(lick)))) for lick in [*samples()][::3]]
    assert sum(number == 1 for number in numbers) > 0.9 * len(numbers)


# --- pictures --------------------------------------------------------------------------------------------------------


def test_svg_is_whole_and_png_is_a_picture_of_it() -> None:
    from xml.etree import ElementTree

    svg = sheet(LICK, formats=("svg",))
    root = ElementTree.fromstring(svg)
    assert root.get("width") == f"{PAPER['a4'][0]:.2f}"
    pytest.importorskip("resvg_py", reason="resvg-py is missing: pip install -e '.[sheet]'")
    png = sheet(LICK, formats=("png",))
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    assert abs(int.from_bytes(png[16:20], "big") - 2.5 * PAPER["a4"][0]) < 2


def test_make_writes_what_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("porch.lick").write_text(LICK)
    assert main(["make", "porch.lick", "--to", "sheet", "--sheet-format", "pdf,svg", "--paper", "letter"]) == 0
    assert sorted(path.name for path in Path("out/porch").iterdir()) == ["porch-light.pdf", "porch-light.svg"]
    assert b"/MediaBox [0 0 612 792]" in Path("out/porch/porch-light.pdf").read_bytes()
    Path("lickwright.toml").write_text('[make]\nto = "sheet"\nsheet-format = "svg"\nprint-size = "large"\n')
    assert main(["make", "porch.lick", "--out", "other"]) == 0
    assert [path.name for path in Path("other/porch").iterdir()] == ["porch-light.svg"]


# --- a book ----------------------------------------------------------------------------------------------------------


def test_a_book_has_contents_bookmarks_and_links_that_lead_to_their_pages(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    named = ["Ember", "Ferry", "Harbor", "Lantern", "Mill", "Willow"]
    for n, title in enumerate(named):
        Path(f"{n}.lick").write_text(LICK.replace("Porch light", title))
    assert main(["make", ".", "--to", "tab", "--book", "Slow blues"]) == 0
    data = Path("out/slow-blues.pdf").read_bytes()
    found = objects(data)
    titles = [
        bytes.fromhex(h.decode()).decode("utf-16-be")
        for h in re.findall(rb"/Title <feff([0-9a-f]+)> /Parent", b"".join(found.values()))
    ]
    assert titles == [*named, "Marks"]
    assert len(pages(found)) == 8
    (tree,) = (body for body in found.values() if b"/Type /Pages" in body)
    kids = re.findall(rb"(\d+) 0 R", tree.partition(b"/Kids")[2])
    numbers = {int(number): page for page, number in enumerate(kids, 1)}
    links = [
        numbers[int(n)] for body in found.values() for n in re.findall(rb"/Subtype /Link .*?/Dest \[(\d+) 0 R", body)
    ]
    assert links == [2, 3, 4, 5, 6, 7, 8]
    for n, title in enumerate(named):
        Path(f"{n}.lick").write_text(f'lick "{title}"\nstep 1/8\n| e5 e8 e5 B8 B5 - . . ||\n')
    assert main(["make", ".", "--to", "tab", "--book", "Slow blues", "--share-pages"]) == 0
    assert len(pages(objects(Path("out/slow-blues.pdf").read_bytes()))) < 7
    Path("out/slow-blues.pdf").write_bytes(b"mine")
    assert main(["make", ".", "--to", "tab", "--book", "Slow blues"]) == 3
    assert Path("out/slow-blues.pdf").read_bytes() == b"mine"


def test_a_book_has_one_legend_with_each_mark_once_in_the_order_of_a_sheet() -> None:
    licks = [BookLick(one.grid(), Options()) for one in samples()[:12]]
    for share_pages in (False, True):
        text = printed(book_pdf(licks, "Book", SheetRequest(), share_pages))
        assert text.count("Warm up with easy") == 1
        legend = text[text.rindex("Marks") :].replace("\n", " ")
        for lick in licks:
            rows = [row.sentence for row in legend_of(lick.grid)]
            assert all(legend.count(row) == 1 for row in rows if len(row) > 20), rows
            places = [legend.index(row) for row in rows]
            assert places == sorted(places), rows


def test_make_draws_chord_shapes_on_sheets_and_pages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.lick").write_text(LICK)
    assert (
        main(["make", "a.lick", "--chord-shapes", "--sheet-format", "svg", "--to", "sheet,page", "--silent-page"]) == 0
    )
    (drawn, page) = (next(Path("out").rglob(f"*.{kind}")).read_text("utf-8") for kind in ("svg", "html"))
    assert drawn.count('data-role="chord-shape"') == 2 and 'data-symbol="Am"' in drawn
    assert "of a chord: a string" in drawn and "of a chord: a string" in page
    assert main(["make", "a.lick", "--no-chord-shapes", "--sheet-format", "svg", "--to", "sheet"]) == 0
    assert "chord-shape" not in next(Path("out").rglob("*.svg")).read_text("utf-8")


def test_a_book_of_no_licks_is_not_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bad.lick").write_text('lick "Bad"\n| h7 e5 ||\n')
    main(["make", "bad.lick", "--book", "Nothing"])
    assert "no book: there is no lick without errors" in capsys.readouterr().out
    assert not Path("out/nothing.pdf").exists()
    for words in (["--shard", "1/2"], ["--watch"]):
        assert main(["make", "bad.lick", "--book", "Nothing", *words]) == 2
    assert main(["make", "bad.lick", "--share-pages"]) == 2


def test_no_book_is_made_while_a_source_cannot_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It would lack that source, and take the place of a whole one."""
    monkeypatch.chdir(tmp_path)
    for name in ("a", "b"):
        Path(f"{name}.lick").write_text(LICK)
    words = ["make", ".", "--to", "tab", "--book", "Slow blues"]
    assert main(words) == 0
    whole = Path("out/slow-blues.pdf").read_bytes()
    own = sheet_book.find_sources

    def gone_since(*arguments: Any) -> Any:
        found = own(*arguments)
        Path("b.lick").unlink()
        return found

    monkeypatch.setattr(sheet_book, "find_sources", gone_since)
    capsys.readouterr()
    assert main(words) == 3
    assert "no book was made: b.lick cannot be read\n" in capsys.readouterr().err
    assert Path("out/slow-blues.pdf").read_bytes() == whole


# --- what can go wrong -----------------------------------------------------------------------------------------------


def test_a_missing_face_is_a_clear_word_and_no_torn_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("porch.lick").write_text(LICK)
    monkeypatch.setattr(typefaces, "_FOLDER", str(tmp_path / "gone"))
    for cached in (typefaces.typeface, typefaces.text_width, typefaces.printable):
        cached.cache_clear()
    try:
        assert main(["make", "porch.lick", "--to", "tab,sheet", "--book", "Book"]) != 70
    finally:
        monkeypatch.undo()
        for cached in (typefaces.typeface, typefaces.text_width, typefaces.printable):
            cached.cache_clear()
    said = capsys.readouterr()
    assert "serif.ttf cannot be read" in said.out + said.err
    assert "install lickwright again" in said.out + said.err
    assert [path.name for path in (tmp_path / "out/porch").iterdir()] == ["porch-light.tab.txt"]
    assert not (tmp_path / "out/book.pdf").exists()


def test_endless_words_make_a_bounded_sheet() -> None:
    long = f'by {"x" * 3000}\nnote {"word " * 1000}\nlick "{"Long title " * 450}"\n| e8 e5 B8 - G7 - - - ||\n'
    data = sheet(long)
    assert len(data) < 150_000
    assert len(pages(objects(data))) <= 4


def test_letters_that_no_face_has_are_reported() -> None:
    (lick,) = compile_text('by Ivan Ångström, Иван\nlick "Lick 漢字"\n| e8 e5 B8 - G7 - - - ||\n').licks
    export = lick.emit("sheet")
    assert [d.code for d in export.losses] == ["L512"]
    assert "漢字" in export.losses[0].message
    text = printed(export.data)
    assert "Lick ??" in text and "by Ivan Ångström, Иван" in text


@pytest.mark.slow
def test_a_lick_of_ten_thousand_notes_makes_pages() -> None:
    bars = " | ".join(["e5 e8 B5 B8 G5 G7 D5 D7"] * 1250)
    data = sheet(f'lick "Long"\nstep 1/8\n| {bars} ||\n')
    assert 30 < len(pages(objects(data))) < 120


def test_accidentals_are_printed_signs_and_a_user_s_own_words_stay() -> None:
    text = (
        "tuning half-step down\nkey Bb minor\nchords Bbm7b5 | F#7#9\nstyle Bb blues\nby Bb\n"
        'lick "Bb"\n| e9 e6 B9 e6 G8 - B6 e6 | e9 e6 B9 e6 G8 - B6 e6 ||\n'
    )
    (lick,) = compile_text(text).licks
    export = lick.emit("sheet", Options(chord_tones=True))
    read = printed(export.data)
    assert not export.losses
    for words in ("B♭ minor", "E♭ A♭ D♭ G♭ B♭ E♭", "B♭m7♭5", "F♯7♯9", "♭3", "♭7", "Bb blues", "by Bb"):
        assert words in read
    for face in FACES:
        assert {"♭", "♮", "♯"} <= typeface(face).glyphs.keys()
    book = printed(book_pdf([BookLick(lowered(text).grid(), Options())], "Book", SheetRequest(), False))
    assert "B♭ minor" in book[: book.index("tuning")]


@pytest.mark.parametrize(
    ("rights", "printed_as"),
    [
        ("(c) 2026 Mara Quill", "© 2026 Mara Quill"),
        ("Copyright (C) 2026 Mara Quill", "© 2026 Mara Quill"),
        ("copyright 2026 Mara Quill", "© 2026 Mara Quill"),
        ("© Mara Quill", "© Mara Quill"),
        ("2026 Mara Quill", "© 2026 Mara Quill"),
        ("free to copy; (c) does not matter", "rights: free to copy; (c) does not matter"),
    ],
)
def test_a_copyright_notice_has_its_sign(rights: str, printed_as: str) -> None:
    read = printed(sheet(f'rights {rights}\nlick "x"\n| e8 e5 B8 - G7 - - - ||\n'))
    assert printed_as in read and read.count("©") == printed_as.count("©")


# --- faces and text --------------------------------------------------------------------------------------------------


def test_a_subset_keeps_its_glyphs_and_drops_the_others() -> None:
    face = typeface("serif")
    kept = subset_file(face, [face.glyphs["A"], face.glyphs["é"]])
    assert len(kept) < len(face.data) / 3
    assert sum(
        int.from_bytes(kept[12 + 16 * n + 12 : 12 + 16 * n + 16], "big")
        for n in range(int.from_bytes(kept[4:6], "big"))
    ) < len(kept)


@pytest.mark.parametrize("face", FACES)
def test_lines_fit_their_width(face: str) -> None:
    words = "The thumb bounces off the string at the end of the neck; " + "x" * 90
    for width in (40.0, 120.0, 400.0):
        lines = wrap_text(words, face, 9.0, width)
        assert all(text_width(line, face, 9.0) <= width for line in lines)
        assert "".join("".join(lines).split()) == "".join(words.split())
        short = wrap_text(words, face, 9.0, width, 2)
        assert len(short) <= 2 and (len(lines) <= 2 or short[-1].endswith("…"))
        assert all(text_width(line, face, 9.0) <= width for line in short)


def test_papers_and_sizes_are_those_of_the_options() -> None:
    assert set(PAPER) == set(PAPERS) and set(SCALE) == set(PRINT_SIZES)


def test_a_book_is_the_same_each_time() -> None:
    licks = [BookLick(lick.grid(), Options()) for lick in samples()[:3]]
    assert book_pdf(licks, "Three", SheetRequest(), False) == book_pdf(licks, "Three", SheetRequest(), False)
