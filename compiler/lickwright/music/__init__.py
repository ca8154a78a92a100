"""Music theory that knows nothing of the notation: pitches, tunings, scales, boxes, chords, rhythm, instruments."""
