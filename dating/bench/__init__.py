"""The local pages: examine at the bench, and read the date as you go."""
