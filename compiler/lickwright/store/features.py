"""The features of a lick for the index: its effective fields, its music, its difficulty, its findings.

In: a compiled lick and its source. Out: `LickFacts`, a plain value that travels between processes and into the index
(`index_schema.py`). Cheap on purpose, since every lick of a library is asked: about a tenth of what compiling it costs.
Where a lick cannot be counted, only its title, its place and its findings are known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:  # whoever asks an index needs no compiler
    from lickwright.compiler.compilation import CompiledLick
    from lickwright.core.diagnostics import Diagnostic
    from lickwright.core.source import Source
    from lickwright.settings.fields import Settings
    from lickwright.timeline.model import SoundingNote, Timeline

NUMBERED, OPEN_BIT = 5, 1 << 10  # bits of `boxes`: 0 to 4 boxes 1 to 5, then the five shapes, then open position


class IndexedFinding(NamedTuple):
    """One finding, as the index stores it."""

    code: str
    severity: str  # "error", "warning", "info"
    line: int  # from 1
    message: str


class LickFacts(NamedTuple):
    """What the index stores of one lick. Texts are "" where nothing is said, numbers None where there is none."""

    title: str
    slug: str  # the name of its files
    line: int  # where it starts, from 1
    ok: bool  # without errors
    key: str = ""  # "A minor"
    tonic: int | None = None  # pitch class as fingered, C = 0
    mode: str = ""  # "minor", "dorian"
    scale: str = ""  # "minor pentatonic"; the key's default where none is written
    chords: str = ""  # plain symbols, each once, in order: "Am7 D7"
    box: str = ""  # as written, tidied: "1 2", "E shape", "frets 5-8"
    boxes: int = 0  # bits: see `NUMBERED`; a numbered box has its shape's bit too, and the other way round
    tempo: float | None = None  # beats a minute, of the unit that the field names
    meter: str = ""
    feel: str = ""
    tuning: str = ""
    capo: int = 0
    sound: str = ""
    by: str = ""
    rights: str = ""
    source: str = ""
    origin: str = ""  # the title of the lick that it was moved from
    tags: str = ""
    style: str = ""
    note: str = ""  # all of them, a line each
    declared: int | None = None  # level, 1 to 5
    measured: int | None = None  # level, 1 to 5, worked out where none is declared
    techniques: str = ""  # names of the table, sorted, with ", " between them
    figures: str = ""  # names of `figures.FIGURES`, the same way
    bars: int = 0  # as played
    beats: float = 0.0  # of the meter, as played
    seconds: float = 0.0  # at its tempo
    notes: int = 0  # strokes and connected notes, what begins together once: as the profile counts them
    low: int | None = None  # lowest and highest fretted pitch, MIDI, as heard
    high: int | None = None
    lowest: int | None = None  # frets; the open string counts only where there is nothing else
    highest: int | None = None
    phrase: int = 0  # equal for the same phrase in any key or box
    tab: int = 0  # equal for the same strings, frets, techniques and lengths
    degree: int | None = None  # semitones from the tonic up to the phrase's first note, 0 to 11; None without a key
    first: int | None = None  # MIDI pitch of that note, as heard
    moments: bytes = b""  # the phrase, to be compared: see `analysis/fingerprint.py`
    findings: tuple[IndexedFinding, ...] = ()

    @property
    def phrase_notes(self) -> int:
        """The number of moments in its phrase, where bends and releases are notes and ornaments are none."""
        from lickwright.analysis.fingerprint import moment_count

        return moment_count(self.moments)

    @property
    def level(self) -> int | None:
        """The declared level, else the one that was measured."""
        return self.measured if self.declared is None else self.declared


def lick_facts(lick: CompiledLick, source: Source, measure: bool = True) -> LickFacts:
    """Return the facts of one lick. `measure`: measure the level where none is declared, which costs as much again as the rest."""
    timeline = lick.timeline
    found = index_findings(lick.diagnostics, source)
    if timeline is None:
        line = next((source.position(d.span.start).line for d in lick.diagnostics if d.lick == lick.title), 1)
        return LickFacts(lick.title, lick.slug, line, False, findings=found)
    settings = timeline.settings
    from lickwright.analysis.figures import find_figures
    from lickwright.analysis.fingerprint import phrase_fingerprint, tab_code
    from lickwright.timeline.model import onset_grains

    theirs = phrase_fingerprint(timeline)
    more = settings.tuning.shift + settings.capo
    low, high, lowest, highest = _extent(timeline.sounds)
    return LickFacts(
        lick.title, lick.slug, source.position(timeline.span.start).line, lick.ok,
        *_key(settings),
        str(settings.scale) if settings.scale else "", _chords(timeline), *_box(settings),
        float(settings.tempo.bpm), str(settings.meter), str(settings.feel), settings.tuning.name, settings.capo,
        settings.sound, settings.by, settings.rights, settings.source, settings.origin, settings.tags, settings.style,
        "\n".join(settings.notes), settings.level, _level(lick, measure), ", ".join(lick.techniques),
        ", ".join(sorted(find_figures(timeline))), len(timeline.passes), _beats(timeline), lick.duration or 0.0, len(onset_grains(timeline.sounds)),
        _raised(low, more), _raised(high, more), lowest, highest,
        theirs.code, tab_code(timeline), _degree(settings, theirs.first), _raised(theirs.first, more), theirs.moments,
        found,
    )  # fmt: skip


def _key(settings: Settings) -> tuple[str, int | None, str]:
    key = settings.key
    return (str(key), key.tonic.pc, key.mode) if key else ("", None, "")


def _degree(settings: Settings, first: int | None) -> int | None:
    """Return the first note as half steps above the tonic, 0 to 11."""
    return (first - settings.key.tonic.pc) % 12 if settings.key is not None and first is not None else None


def _raised(pitch: int | None, half_steps: int) -> int | None:
    return None if pitch is None else pitch + half_steps


def index_findings(diagnostics: tuple[Diagnostic, ...], source: Source) -> tuple[IndexedFinding, ...]:
    """Return findings as the index stores them: of a lick, or of a file that has none."""
    return tuple(
        IndexedFinding(d.code, d.severity.value, source.position(d.span.start).line, d.message) for d in diagnostics
    )


def _chords(timeline: Timeline) -> str:
    from lickwright.timeline.harmony import distinct_chords

    return " ".join(dict.fromkeys(chord.plain for chord in distinct_chords(timeline)))


def _box(settings: Settings) -> tuple[str, int]:
    spec = settings.box
    if spec is None or spec.any:
        return "", 0
    from lickwright.music.boxspec import SHAPES

    bits = sum(1 << number - 1 for number in spec.numbers)
    for box in settings.area.boxes if settings.area else ():
        if box.label.startswith("box "):
            bits |= 1 << int(box.label[4:]) - 1
        if box.shape:
            bits |= 1 << NUMBERED + SHAPES.index(box.shape[0])
    return str(spec), bits | OPEN_BIT * (str(spec) == "open")


def _level(lick: CompiledLick, measure: bool) -> int | None:
    """Return the measured level, None where one is declared: that was compared with the lick when it was checked (L461)."""
    if not measure or lick.timeline is None or lick.timeline.settings.level is not None:
        return None
    return lick.level


def _extent(sounds: tuple[SoundingNote, ...]) -> tuple[int | None, int | None, int | None, int | None]:
    """Return lowest and highest pitch as fretted (harmonics where they sound), and lowest and highest fret."""
    pitched = [s for s in sounds if not s.dead]
    pitches = [round(s.pitch) for s in pitched]
    frets = {s.fret for s in pitched if s.fret is not None}
    fretted = frets - {0} or frets
    return (
        min(pitches, default=None), max(pitches, default=None), min(fretted, default=None), max(fretted, default=None)
    )  # fmt: skip


def _beats(timeline: Timeline) -> float:
    beat = timeline.settings.meter.beat
    return round(timeline.end * beat.denominator / (timeline.grain * beat.numerator), 4)
