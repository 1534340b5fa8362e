"""What to do with each jar, and when."""
