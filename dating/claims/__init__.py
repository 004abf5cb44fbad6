"""An author's claims: how probable each is, by which evidence, and how it may be worded."""
