"""A lick as engraved: the geometry of printed tab, as a display list that any page description can be written from."""
