"""The terminal: options in, one call, results out."""
