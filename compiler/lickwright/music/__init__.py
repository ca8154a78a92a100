"""Theory that knows nothing of notation: pitches, tunings, scales, boxes, chords, rhythm."""
