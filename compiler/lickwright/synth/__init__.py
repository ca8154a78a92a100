"""The guitar that audio plays: strings as delay loops, then the amplifier, then the loudness.

In: a Performance. Out: arrays of samples; knows no file format. `arrangement` lays a recording out, with count-in, click, repeats and backing;
`automation` turns the notes of one string into curves and pulses (`excitation` and `pulses` strike it, `damping` damps it); `waveguide` computes the
string, whose filters `stiffness` gives (`pitch_warp` bends it, `modes` computes one that rings alone);
`guitar` adds the strings up, `sympathy` the open ones that answer; `amp` (with `compressor`) filters and drives them; `loudness` normalizes the
recording; `mixdown` calls them in order. All but `arrangement` need numpy, which is imported nowhere outside this folder and `export/audio/`.
"""
