"""How a lick is counted: tree → written bars → sounds as played. `lickwright.resolve` is the way in."""
