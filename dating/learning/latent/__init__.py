"""Free-form shares and latent variants, found in a corpus."""
