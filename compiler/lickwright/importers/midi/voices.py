"""Which notes of a MIDI file are read, and on which strings they are, where the file says so.

In: a `MidiSong` and what is asked for. Out: `ChosenNotes`: the notes of one player, a string for each where every string has a track or channel of its own.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from statistics import median
from typing import NamedTuple

from lickwright.core.unreadable import Unreadable
from lickwright.importers.midi.song import MidiNote, MidiSong
from lickwright.music.tuning import Tuning, parse_tuning

_STRING_TRACK = re.compile(r"string ([0-9]{1,2}) \(.{1,4}\)")  # as Lickwright names its tracks
_TUNING_TEXT = re.compile(r"tuning (.{1,60}?)(?:, capo ([0-9]{1,2}))?")
_GUITARS, _BASSES = range(24, 32), range(32, 40)  # programs of General MIDI, from 0
_FRETS = 24
_STRINGS = range(4, 9)
_OVERLAP = 12  # of a quarter note, the part that notes of one string may overlap as they are played
_LISTED = 8
_EVERYTHING = "all channels"


class ChosenNotes(NamedTuple):
    """The notes of one player."""

    notes: list[MidiNote]
    strings: dict[tuple[int, int], int]  # (track, channel) → string; empty where the file does not say
    tuning: Tuning
    capo: int
    program: int  # of General MIDI, from 0; -1 for none
    name: str  # of what is read
    left: list[str]  # names of what is left


def choose_notes(song: MidiSong, track: str, tuning: str) -> ChosenNotes:
    """Return the notes of the track or channel that is asked for, else of the one that looks most like a guitar.

    Raises `Unreadable` for one that is not there, where there are no notes, and for a tuning that is none.
    """
    if not song.notes:
        drums = "the MIDI file has only percussion" if song.drums else "the MIDI file has no notes"
        raise Unreadable(drums, "export a track with a melody")
    if not track and (own := _own_tracks(song)):
        return _own_strings(song, own)
    one = _one_player(song) and not track
    groups = {_EVERYTHING: song.notes} if one else _groups(song)
    best = _asked(list(groups), track) if track else max(groups, key=lambda name: _worth(song, name, groups[name]))
    notes = groups[best]
    program = song.programs.get((notes[0].track, notes[0].channel), -1)
    bass = program in _BASSES or "bass" in best.lower()
    chosen = _tuning(tuning or ("bass" if bass else "standard"))
    strings = channel_strings(song, notes, chosen) if one else {}
    return ChosenNotes(notes, strings, chosen, 0, program, best, [name for name in groups if name != best])


def _asked(names: list[str], track: str) -> str:
    """Return the name of the track that is asked for, by its number or name. Raises `Unreadable` where there is none."""
    for number, name in enumerate(names, 1):
        if track in (str(number), name) or track.lower() == name.lower():
            return name
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(names[:_LISTED], 1))
    raise Unreadable(f"the MIDI file has no track `{track[:40]}`", f"its tracks are {listed}")


def _own_tracks(song: MidiSong) -> dict[int, int]:
    """Return the string of each track with notes, where all are called as Lickwright calls them; else nothing."""
    found = {index: _STRING_TRACK.fullmatch(song.names.get(index, "")) for index in {note.track for note in song.notes}}
    strings = {index: int(match[1]) for index, match in found.items() if match is not None}
    return strings if len(strings) == len(found) else {}


def _tuning(text: str) -> Tuning:
    try:
        return parse_tuning(text)
    except ValueError as e:
        raise Unreadable(str(e), "name a tuning as a lick does") from None


def _own_strings(song: MidiSong, tracks: Mapping[int, int]) -> ChosenNotes:
    """Return the notes of a file that Lickwright wrote, a track a string."""
    count = sum(_STRING_TRACK.fullmatch(name) is not None for name in song.names.values())
    usual = {4: "bass", 5: "5 string bass", 7: "7 string", 8: "8 string"}.get(count, "standard")
    tuning, capo = parse_tuning(usual), 0
    for _, text in song.texts:
        match = _TUNING_TEXT.fullmatch(text)
        if match:
            try:
                tuning, capo = parse_tuning(match[1]), int(match[2] or 0)
            except ValueError:
                continue
    strings = {(note.track, note.channel): tracks[note.track] for note in song.notes}
    program = next(iter(song.programs.values()), -1)
    return ChosenNotes(song.notes, strings, tuning, capo, program, "", [])


def _groups(song: MidiSong) -> dict[str, list[MidiNote]]:
    """Return the notes of each player by name: of each track, of a track with several sounds of each of its channels."""
    by_track: defaultdict[int, list[MidiNote]] = defaultdict(list)
    for note in song.notes:
        by_track[note.track].append(note)
    found: dict[str, list[MidiNote]] = {}
    for track, notes in sorted(by_track.items()):
        name = song.names.get(track) or f"track {track + 1}"
        channels = sorted({note.channel for note in notes})
        if len(channels) > 1:
            for channel in channels:
                _add(found, f"{name}, channel {channel + 1}", [note for note in notes if note.channel == channel])
        else:
            _add(found, name, notes)
    return found


def _add(found: dict[str, list[MidiNote]], name: str, notes: list[MidiNote]) -> None:
    number, own = 1, name
    while own in found:
        number += 1
        own = f"{name} ({number})"
    found[own] = notes


def _worth(song: MidiSong, name: str, notes: Sequence[MidiNote]) -> tuple[bool, int, bool]:
    """Return what makes a track the one to read: a guitar by its sound or name, many notes, few at once."""
    program = song.programs.get((notes[0].track, notes[0].channel), -1)
    words = name.lower()
    guitar = program in _GUITARS or "guitar" in words or "gtr" in words
    playable = median(note.pitch for note in notes) >= 36
    return guitar and playable, len(notes), playable


def _one_player(song: MidiSong) -> bool:
    """Return whether the channels of a file are the strings of one guitar: four to eight with one sound, none with two notes at once."""
    channels = _all_channels(song)
    programs = {song.programs.get((note.track, note.channel), -1) for note in song.notes}
    lines: defaultdict[tuple[int, int], list[MidiNote]] = defaultdict(list)
    for note in song.notes:
        lines[note.track, note.channel].append(note)
    distinct = len({channel for _, channel in lines}) == len(lines)
    return (
        len(lines) > 1
        and len(channels) in _STRINGS
        and len(programs) == 1
        and distinct
        and all(_is_single(line, song.ticks_a_quarter) for line in lines.values())
    )


def _all_channels(song: MidiSong) -> list[int]:
    return sorted({channel for _, channel in song.programs} | {note.channel for note in song.notes})


def channel_strings(song: MidiSong, notes: Sequence[MidiNote], tuning: Tuning) -> dict[tuple[int, int], int]:
    """Return the string of each channel, where there are as many channels as strings, the thinnest first or last; empty where notes do not lie on them."""
    channels = _all_channels(song)
    lines = {(note.track, note.channel) for note in notes}
    if len(channels) != tuning.strings or len(lines) < 2:
        return {}
    for order in (channels, channels[::-1]):
        strings = {channel: string for string, channel in enumerate(order, 1)}
        if all(0 <= note.pitch - tuning.sounding[strings[note.channel] - 1] <= _FRETS for note in notes):
            return {line: strings[line[1]] for line in lines}
    return {}


def _is_single(line: Sequence[MidiNote], quarter: int) -> bool:
    """Return whether no two notes of a line sound together, but for a little as one follows another."""
    return all(
        note.on >= before.off - max(1, quarter // _OVERLAP) for before, note in zip(line, line[1:], strict=False)
    )
