"""The only room where facts and reckoning meet."""
