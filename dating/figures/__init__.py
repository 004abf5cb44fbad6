"""Every picture, one function each. Matplotlib is imported only here."""
