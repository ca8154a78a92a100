"""The project config, `lickwright.toml`: its settings, how it is found and read, and the spans of its mistakes."""
