"""The two necks: what is known on a day, and what was forecast."""
