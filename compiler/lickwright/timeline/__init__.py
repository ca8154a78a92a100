"""The music as counted: written bars once, and the passes as played, at exact instants."""
