"""Estimates and files put into words and records."""
