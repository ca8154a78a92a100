"""A recording of a student against a lick: what was played, how late, how high the bends, and what to practice.

`sound_file` reads a recording, `features`, `pitch`, `boundaries`, `picks` and `stretches` are the ear, `match` finds the lick in it, `judge` calls the steps in
order. Wants the extra `lickwright[audio]`. Nothing here prints or writes.
"""
