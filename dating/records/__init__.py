"""What the records may say that ``--as json`` writes, version by version."""
