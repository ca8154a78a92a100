"""The output folder and its database: manifest, journal, lock, what is ours there, and writing outputs whole."""
