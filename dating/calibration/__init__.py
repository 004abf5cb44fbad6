"""Whether stated probabilities may be trusted: reference instruments dated as if undated."""
