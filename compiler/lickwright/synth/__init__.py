"""The guitar that audio plays: strings as delay loops, then the amplifier, then the loudness.

`plan` turns the notes of one string into curves and pulses (`strikes` and `strokes` what strikes it, `touch` what damps it), `waveguide` lets
the string swing by them, `guitar` adds the strings up, `amp` is what they are heard through, `loudness` makes them as loud as all other licks; `take` puts a
whole recording together, with count-in, click, repeats and backing. In: a Performance. Out: arrays of samples. Knows no
file format. Everything needs numpy, which nothing outside this folder and `export/audio/__init__.py` imports.
"""
