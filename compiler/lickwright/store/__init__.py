"""The output folder: its storage, its database, its journal and lock, and how outputs are written into it."""
