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
from lickwright.core.unreadable import Unreadable
from lickwright.importers.box_places import box_places
from lickwright.importers.draft import Doubt, DraftBar, DraftGroup, LickDraft
from lickwright.importers.musicxml.assemble import measure_groups
from lickwright.importers.musicxml.bars import bar_lengths, bar_meters, repeated_measures, signs_of
from lickwright.importers.musicxml.compressed_file import is_compressed, score_in_archive
from lickwright.importers.musicxml.heading import fingered_key, part_sound, part_tuning, score_fields, score_title
from lickwright.importers.musicxml.part_choice import chosen_part, score_parts
from lickwright.importers.musicxml.part_music import PartMusic, read_part
from lickwright.importers.musicxml.placing import with_places
from lickwright.importers.musicxml.symbols import MeasureSymbols, SymbolReader
from lickwright.importers.musicxml.tied_notes import TiedNote, counting_staff, tied_notes
from lickwright.importers.options import ReadOptions
from lickwright.importers.rules import LEFT_OUT
from lickwright.importers.xml_tree import XmlElement, parse_xml
from lickwright.music.instruments import DEFAULT_INSTRUMENT


def read_score(data: bytes, name: str, options: ReadOptions) -> tuple[LickDraft, ...]:
    """Return the lick of a score; `name` is its title where it has none.

    Raises `Unreadable` for bytes that are no score, for lengths that cannot be and past the limits of size, and for a part that is not there.
    """
    root = parse_xml(score_in_archive(data) if is_compressed(data) else data)
    parts = score_parts(root)
    index, doubts = chosen_part(root, parts, options.track.strip())
    return (_draft(root, parts[index][0], read_part(parts[index][1]), name, options, doubts),)


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
    fields, remarks = _fields(root, symbols, options)
    fields["key"] = options.key or fields.get("key") or (str(key) if key is not None else "")
    fields["tuning"] = "" if tuning.name == "standard" else tuning.name
    fields["capo"] = str(capo or "")
    fields["sound"] = "" if sound == DEFAULT_INSTRUMENT else sound
    places = box_places(fields, tuning)
    notes, more = with_places(notes, tuning, capo, places)
    notes, late = _leading(notes, starts[-1] + lengths[-1])
    groups = measure_groups(notes, _ring_spans(symbols, starts), starts)
    bars = _bars(part, groups, symbols, lengths)
    written = tuple((field, value) for field, value in fields.items() if value and value != "straight")
    draft = LickDraft(score_title(root) or name, bars, (*written, *remarks))
    return replace(draft, doubts=(*doubts, *more, *late, *_lost(part, notes, symbols)))


def _leading(notes: Sequence[TiedNote], end: Fraction) -> tuple[list[TiedNote], list[Doubt]]:
    """Return the notes without the grace notes at the end of the part, which lead to none, and what is said of those."""
    kept = [note for note in notes if note.start < end]
    lost = len(notes) - len(kept)
    if not lost:
        return kept, []
    return kept, [Doubt(LEFT_OUT, f"{lost} grace notes that lead to no note are left out", "write them out")]


def _fields(
    root: XmlElement, symbols: Sequence[MeasureSymbols], options: ReadOptions
) -> tuple[dict[str, str], list[tuple[str, str]]]:
    """Return the fields that do not depend on the tuning, and the notes printed with the music, of which there may be several."""
    said = list(score_fields(root))
    fields = {name: value for name, value in said if name != "note"}
    fields["tempo"] = symbols[0].tempo
    fields["feel"] = next((one.feel for one in symbols if one.feel), "")
    fields["box"] = options.box or fields.get("box", "")
    return fields, [one for one in said if one[0] == "note"]


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
