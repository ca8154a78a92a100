"""Diagnostics for people and programs: a terminal, SARIF, annotations."""
