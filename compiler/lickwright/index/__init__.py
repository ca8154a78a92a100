"""The search over a library: queries, similarity, duplicates, statistics and gaps, on the tables of an output folder."""
