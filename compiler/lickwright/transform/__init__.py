"""Licks changed into other licks: moves on the neck and fixes of findings."""
