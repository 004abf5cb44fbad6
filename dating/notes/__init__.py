"""Catalogue notes: the wording of a date, cautions, and records for other systems."""
