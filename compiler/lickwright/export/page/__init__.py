"""Lesson page: a lick to read, hear and practice, as one HTML file that needs nothing else.

In: a lick as counted, drawn and sounded. Out: UTF-8 HTML; with `Options.page_sound` also its recordings, one at the tempo and one played
slowly. Without them the page plays plain plucked tones. Nothing in the page asks a network for anything, and no words of a user can become part of its code.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Sequence
from fractions import Fraction
from typing import BinaryIO

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.extras import install_command
from lickwright.core.slugs import slug
from lickwright.engraving.typefaces import MissingFace
from lickwright.export import Export, Length, LoweredLick, Options, duration_in_words
from lickwright.export.page import recording, sections
from lickwright.export.page.markup import Markup, asset, data_block, document, el, program
from lickwright.export.page.music import drawings
from lickwright.export.page.score import score, slow_options
from lickwright.export.sheet import missing_face
from lickwright.export.sheet.content import engraving_options
from lickwright.export.tab.heading import printed_facts, tempo_words
from lickwright.export.timing import timing_rows
from lickwright.music.practice import PRACTICE_PERCENTS
from lickwright.performance.note_events import Performance
from lickwright.timeline.model import bar_name

NO_RECORDING = Rule(
    "L515",
    "no recording in the page",
    Severity.INFO,
    "a lesson page plays plain tones where it holds no recording",
    "A lesson page holds a recording of the lick where lickwright[audio] is installed and the lick is not longer than a minute and a half. "
    "Without one it plays plain plucked tones at every speed, and everything else in it works the same.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (NO_RECORDING,)
SLOW = int(PRACTICE_PERCENTS["slow"])  # per cent of the tempo at which the slow recording is played
_SCRIPTS = ("sound.js", "transport.js", "buffers.js", "view.js", "lesson.js", "ticks.js", "reports.js", "heard.js")


def emit(lowered: LoweredLick, options: Options) -> Export:
    """Return the page; its recordings are made while it is written. A missing face gives no page but a finding."""
    try:
        return _emit(lowered, options)
    except MissingFace as e:
        return Export(None, (missing_face(e, lowered.timeline.span, "lesson page"),))


def _emit(lowered: LoweredLick, options: Options) -> Export:
    """Draw the page, all but its recordings, and return it. Raises `MissingFace`."""
    timeline = lowered.timeline
    full = lowered.performance(options)
    silent = _unrecorded(lowered, full, options) if options.page_sound else None
    played = [(Fraction(100), full)]
    if not options.page_sound or silent is not None:
        page = _page(timeline.title, _parts(lowered, options, played), ())
        return Export(page, (silent,) if silent is not None else ())
    played.append((Fraction(SLOW), lowered.performance(slow_options(options, SLOW))))
    performances = [performance for _, performance in played]
    parts = _parts(lowered, options, played)

    def write(file: BinaryIO, scratch: BinaryIO) -> None:
        sounds = [b64encode(recording.record_mp3(timeline, one, slow=n > 0)) for n, one in enumerate(performances)]
        file.write(_page(timeline.title, parts, sounds))

    def rewrite(old: BinaryIO, file: BinaryIO) -> None:
        old.seek(0)
        file.write(_page(timeline.title, parts, _sounds_of(old.read())))

    seconds = sum(performance.end for performance in performances)
    expected = Length(seconds, round(seconds * recording.BYTES))
    return Export(write, (), expected, sound=recording.sound_digest(timeline, performances), retag=rewrite)


def _parts(lowered: LoweredLick, options: Options, played: Sequence[tuple[Fraction, Performance]]) -> list[Markup]:
    """Return what is in the page but the recordings, of which there is one of each performance if there are several. Raises `MissingFace`."""
    timeline, full = lowered.timeline, played[0][1]
    settings = timeline.settings
    bars = [bar_name(timeline.bars[turn.bar].number, turn.number).removeprefix("bar ") for turn in timeline.passes]
    tempo = tempo_words(timeline, options.tempo_percent, options.tempo_bpm, note_names=True)
    body = el(
        "main",
        sections.page_head(timeline, printed_facts(timeline, tempo)),
        sections.player(),
        sections.music(drawings(lowered, options)),
        sections.choices(bars, _sound_words(played)),
        el("div", sections.neck_section(timeline, options.sheet.left_handed), sections.tips(settings), class_="beside"),
        sections.ladder(options.ladder_rungs(timeline), settings.tempo.counted_name(settings.meter)),
        sections.heard(),
        sections.table(timing_rows(timeline, full)),
        sections.marks(lowered.grid(), engraving_options(options.sheet)),
        _downloads(lowered, options),
        sections.page_end(timeline),
    )
    return [body, data_block("score", score(lowered, played))]


def _page(title: str, parts: Sequence[Markup], sounds: Sequence[bytes]) -> bytes:
    """Return the page with its recordings, which are in base64."""
    takes = (
        Markup(f'<script type="text/plain" id="take-{number}">{sound.decode("ascii")}</script>')
        for number, sound in enumerate(sounds)
    )
    styles = [asset("page.css"), asset("lesson.css")]
    return document(title, [*parts, *takes], styles, program(*_SCRIPTS)).encode("utf-8")


_SOUND = re.compile(rb'<script type="text/plain" id="take-[01]">([A-Za-z0-9+/=]+)</script>')
_RECORDED = "Slow speeds use a recording that was played slowly; every speed is at true pitch."
_SMALL = f"To keep the page small, the recordings of a lick this long leave out overtones above {recording.highest_kept():,} Hz."
_TOO_LONG = f"A page holds recordings of {duration_in_words(recording.LONGEST)} at most, and this lick is longer."
_PLAIN_TONES = "This page holds no recording: it plays plain plucked tones, at every speed at true pitch."


def _sound_words(played: Sequence[tuple[Fraction, Performance]]) -> str:
    """Return what the page says of its sound, and of what is left out to keep it small."""
    full = played[0][1]
    if len(played) > 1:
        return f"{_RECORDED} {_SMALL}" if recording.is_long(full) else _RECORDED
    return f"{_TOO_LONG} {_PLAIN_TONES}" if full.end > recording.LONGEST else _PLAIN_TONES


def _sounds_of(page: bytes) -> list[bytes]:
    """The two recordings of a page that was made before. Raises ValueError where there are no two."""
    found = _SOUND.findall(page)
    if len(found) != 2:
        raise ValueError("no recordings in the page")
    return found


def _unrecorded(lowered: LoweredLick, performance: Performance, options: Options) -> Diagnostic | None:
    """Return why the page can hold no recording; None where it can."""
    longest = min(recording.LONGEST, options.recording.longest or recording.LONGEST)
    if performance.end > longest:
        why = f"the lick lasts {duration_in_words(performance.end)}, and a page holds {duration_in_words(longest)}: it plays plain tones"
        return NO_RECORDING.at(
            lowered.timeline.span, why, "cut the lick up, or make a recording beside it: --to page,audio"
        )
    if not recording.can_record():
        why = "the page plays plain tones: numpy and soundfile are not installed"
        return NO_RECORDING.at(lowered.timeline.span, why, f"{install_command('audio')}, or say --silent-page")
    return None


def _downloads(lowered: LoweredLick, options: Options) -> Markup:
    from lickwright.export import midi, tab

    return sections.downloads(
        slug(lowered.timeline.title), midi.emit(lowered, options).data, tab.emit(lowered, options).data
    )
