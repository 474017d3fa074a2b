"""What a person reads: one HTML file, and the sheets beside it."""
