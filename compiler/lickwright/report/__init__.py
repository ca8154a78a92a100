"""Diagnostics as text and JSON for a terminal, as SARIF, and as annotations of a code review."""
