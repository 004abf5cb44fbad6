"""Several instruments side by side: which was built first, in draws that they have in common."""
