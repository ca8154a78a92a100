"""The music as counted: the written bars once, and the bars and notes as played, at exact instants."""
