"""The reference corpus, and what is learned from it about a maker's production."""
