"""The house rules: `lickwright.toml` of a project, its keys, how it is read, and where in its text a mistake stands."""
