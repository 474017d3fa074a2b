"""Log files in: nothing lost, nothing guessed silently."""
