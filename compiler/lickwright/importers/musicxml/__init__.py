"""MusicXML read into drafts: scores of any program, and Lickwright's own without loss.

In: the bytes of a `.musicxml`, `.xml` or `.mxl` file that anybody may have made. Out: one `LickDraft`, of the part that is asked for or has the most to play,
with its doubts. Strings and frets are those of a tab staff; where there are none, the fingering engine chooses them. No file and no address is opened.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import accumulate

from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Unreadable
from lickwright.importers.box_places import box_places
from lickwright.importers.draft import Doubt, DraftBar, DraftGroup, LickDraft
from lickwright.importers.fret_choice import PitchedNote, PitchMoment, choose_places
from lickwright.importers.musicxml.assemble import measure_groups
from lickwright.importers.musicxml.bars import bar_lengths, bar_meters, repeated_measures, signs_of
from lickwright.importers.musicxml.compressed_file import is_compressed, score_in_archive
from lickwright.importers.musicxml.connections import ends_at, is_connected
from lickwright.importers.musicxml.heading import fingered_key, part_sound, part_tuning, score_fields, score_title
from lickwright.importers.musicxml.part_music import PartMusic, read_part
from lickwright.importers.musicxml.symbols import MeasureSymbols, SymbolReader
from lickwright.importers.musicxml.tied_notes import TiedNote, counting_staff, tied_notes
from lickwright.importers.options import ReadOptions
from lickwright.importers.rules import LEFT_OUT, NO_PLACE, PLACES_CHOSEN, TRACK_CHOSEN
from lickwright.importers.xml_tree import XmlElement, parse_xml
from lickwright.music.instruments import DEFAULT_INSTRUMENT
from lickwright.music.tuning import Tuning

_USUAL_SECONDS = 2.4  # of a whole note, for the hand, where a score's tempo is not looked at
_MOST_NAMES = 8  # parts that a doubt lists by name


def read_score(data: bytes, name: str, options: ReadOptions) -> tuple[LickDraft, ...]:
    """Return the lick of a score; `name` is its title where it has none.

    Raises `Unreadable` for bytes that are no score, for lengths that cannot be and past the limits of size, and for a part that is not there.
    """
    root = parse_xml(score_in_archive(data) if is_compressed(data) else data)
    parts = _parts(root)
    index, part, doubts = _chosen(root, parts, options)
    return (_draft(root, parts[index][0], part, name, options, doubts),)


def _parts(root: XmlElement) -> list[tuple[str, list[XmlElement]]]:
    """Return the id of each part and its measures. Raises `Unreadable` where the document is no score."""
    if root.tag not in ("score-partwise", "score-timewise"):
        raise Unreadable(
            f"the file is XML, but no MusicXML score: it begins with `{root.tag[:40]}`", "export it as MusicXML"
        )
    found: dict[str, list[XmlElement]] = {}
    if root.tag == "score-partwise":
        for part in root.all("part"):
            found.setdefault(part.get("id"), []).extend(part.all("measure"))
    else:
        for measure in root.all("measure"):
            for part in measure.all("part"):
                part.attributes = {**measure.attributes, **part.attributes}
                found.setdefault(part.get("id"), []).append(part)
    if not any(found.values()):
        raise Unreadable("the score has no measures", "export it again")
    return list(found.items())


def _chosen(
    root: XmlElement, parts: Sequence[tuple[str, list[XmlElement]]], options: ReadOptions
) -> tuple[int, PartMusic, list[Doubt]]:
    """Return the index and the music of the part to be read, and what is left. Raises `Unreadable` for a part that is not there."""
    names = [part_sound(root, part_id)[0] or part_id for part_id, _ in parts]
    asked = options.track.strip()
    if asked:
        wanted = [n for n, one in enumerate(names) if asked in (str(n + 1), one) or asked.lower() == one.lower()]
        if not wanted:
            listed = ", ".join(f"{n} {one}" for n, one in enumerate(names[:_MOST_NAMES], 1))
            raise Unreadable(f"the score has no part `{asked[:40]}`", f"its parts are {listed}")
        return wanted[0], read_part(parts[wanted[0]][1]), []
    index = max(range(len(parts)), key=lambda n: _playable(parts[n][1], names[n]))
    part = read_part(parts[index][1])
    others = [one for n, one in enumerate(names) if n != index]
    if not others:
        return index, part, []
    more = ", …" if len(others) > _MOST_NAMES else ""
    message = f"part {index + 1}, {names[index]}, is read; left: {', '.join(others[:_MOST_NAMES])}{more}"
    return index, part, [Doubt(TRACK_CHOSEN, message, "name another with --track")]


def _playable(measures: Sequence[XmlElement], name: str) -> tuple[bool, bool, int]:
    """Return what makes a part the one to read: strings and frets, a guitar's name, many notes."""
    notes = [note for measure in measures for note in measure.all("note") if note.first("rest") is None]
    stringed = any(note.first("notations/technical/string") is not None for note in notes)
    guitar = any(word in name.lower() for word in ("guitar", "gtr", "bass", "ukulele", "banjo"))
    return stringed, guitar and bool(notes), len(notes)


def _draft(
    root: XmlElement, part_id: str, part: PartMusic, name: str, options: ReadOptions, doubts: list[Doubt]
) -> LickDraft:
    part_name, sound, program = part_sound(root, part_id)
    staff = counting_staff(part)
    try:
        tuning, capo = part_tuning(part, part_name, program, options.tuning, staff)
    except ValueError as e:
        raise Unreadable(str(e), "name a tuning as a lick does") from None
    shift = capo + tuning.shift
    meters = bar_meters(part)
    lengths = bar_lengths(part, meters)
    starts = [Fraction(0), *accumulate(lengths)][:-1]
    notes = tied_notes(part, starts, staff)
    if not notes:
        raise Unreadable("the part has no notes", "name another part with --track")
    key = fingered_key(part, shift)
    reader = SymbolReader(shift, key)
    symbols = [reader.read(measure, meter) for measure, meter in zip(part.measures, meters, strict=True)]
    said = list(score_fields(root))
    fields = dict(one for one in said if one[0] != "note")
    fields.setdefault("key", options.key or (str(key) if key is not None else ""))
    fields |= {
        "tuning": "" if tuning.name == "standard" else tuning.name,
        "capo": str(capo or ""),
        "sound": "" if sound == DEFAULT_INSTRUMENT else sound,
    }
    fields |= {
        "tempo": symbols[0].tempo,
        "feel": next((one.feel for one in symbols if one.feel), ""),
        "box": options.box or fields.get("box", ""),
    }
    places = box_places(fields, tuning)
    notes, more = _with_places(notes, tuning, capo, places)
    groups = measure_groups(notes, _ring_spans(symbols, starts), starts)
    bars = _bars(part, groups, symbols, lengths)
    written = tuple((field, value) for field, value in fields.items() if value and value != "straight")
    remarks = tuple(one for one in said if one[0] == "note")
    draft = LickDraft(score_title(root) or name, bars, (*written, *remarks))
    return replace(draft, doubts=(*doubts, *more, *_lost(part, notes, symbols)))


def _bars(
    part: PartMusic,
    groups: Mapping[int, Sequence[DraftGroup]],
    symbols: Sequence[MeasureSymbols],
    lengths: Sequence[Fraction],
) -> tuple[DraftBar, ...]:
    meters = bar_meters(part)
    same = repeated_measures(part)
    found = []
    for n, (measure, said) in enumerate(zip(part.measures, symbols, strict=True)):
        signs = signs_of(measure)
        found.append(
            DraftBar(
                () if n in same else tuple(groups.get(n, ())),
                lengths[n],
                meters[n],
                n in same,
                signs.repeat_start,
                signs.repeat_end,
                signs.ending,
                signs.double,
                n + 1 < len(part.measures) and part.measures[n + 1].new_system,
                tuple(said.chords),
                () if n in same else tuple(said.directions),
                tuple(dict.fromkeys(said.marks)),
            )
        )
    return tuple(found)


def _ring_spans(symbols: Sequence[MeasureSymbols], starts: Sequence[Fraction]) -> list[tuple[Fraction, Fraction]]:
    """Return from when until when "let ring" holds, in whole notes from the start of the part."""
    found = []
    begun: defaultdict[str, list[Fraction]] = defaultdict(list)
    for one, start in zip(symbols, starts, strict=True):
        for at, end, number in one.rings:
            if end == "start":
                begun[number].append(start + at)
            elif begun[number]:
                found.append((begun[number].pop(), start + at))
    return found


# --- strings and frets -----------------------------------------------------------------------------------------------


def _with_places(
    notes: list[TiedNote], tuning: Tuning, capo: int, box: frozenset[tuple[int, int]] | None
) -> tuple[list[TiedNote], list[Doubt]]:
    """Return the notes that have a place on the neck, each with it, and the doubts about that."""
    missing = [note for note in notes if not _is_placed(note, tuning)]
    if not missing:
        return notes, []
    moments: dict[tuple[Fraction, int], list[TiedNote]] = {}
    for note in notes:
        moments.setdefault((note.start, note.note.order if note.note.grace else 1 << 40), []).append(note)
    asked = [_moment(group) for group in moments.values()]
    kept = []
    for group, places in zip(moments.values(), choose_places(asked, tuning, capo, box=box), strict=True):
        for note, place in zip(group, places, strict=True):
            if not _is_placed(note, tuning) and place is not None:
                note.string, note.fret = place
            if _is_placed(note, tuning):
                kept.append(note)
    found = [
        Doubt(
            PLACES_CHOSEN,
            f"strings and frets of {len(missing)} of {len(notes)} notes are chosen by Lickwright",
            "name a box with --box to move them",
        )
    ]
    lost = len(notes) - len(kept)
    if lost:
        found.append(
            Doubt(
                NO_PLACE,
                f"{lost} of {len(notes)} notes lie on no string that is free, and are left out",
                "is it written for this tuning?",
            )
        )
    return sorted(kept, key=lambda note: (note.start, note.note.order)), found


def _is_placed(note: TiedNote, tuning: Tuning) -> bool:
    placed = note.fret is not None or note.features.head is not None or note.features.rake or note.features.scrape
    return 1 <= note.string <= tuning.strings and placed


def _moment(group: Sequence[TiedNote]) -> PitchMoment:
    seconds = float(group[0].start) * _USUAL_SECONDS
    notes = tuple(
        PitchedNote(
            note.note.pitch if note.note.pitch is not None else 0,
            note.string,
            any(True for part in note.parts for _ in part.element.all("notations/technical/bend")),
            is_connected(note),
            ends_at(note, "slide"),
        )
        for note in group
    )
    return PitchMoment(seconds, seconds + float(group[0].length) * _USUAL_SECONDS, notes)


# --- what is lost ----------------------------------------------------------------------------------------------------


def _lost(part: PartMusic, notes: Sequence[TiedNote], symbols: Sequence[MeasureSymbols]) -> list[Doubt]:
    """Return a doubt for each kind of thing that has no place in the notation."""
    names: Counter[str] = Counter(what for note in notes for one in note.parts for what in one.features.lost)
    names.update(what for one in symbols for what in one.lost)
    found = [
        Doubt(LEFT_OUT, f"{what} is left out ({count} time{'s' * (count > 1)})", "write it by hand")
        for what, count in names.most_common(20)
    ]
    if part.unpitched:
        found.append(Doubt(LEFT_OUT, f"{part.unpitched} notes of percussion are left out", "they have no string"))
    if part.clamped:
        found.append(
            Doubt(
                LEFT_OUT,
                f"{part.clamped} times the score goes back to before its measure: read from its start",
                "export it again",
            )
        )
    if any(signs_of(measure).more_endings for measure in part.measures):
        found.append(Doubt(LEFT_OUT, "a third ending is read as a second one", "the notation has two: write it out"))
    return found
