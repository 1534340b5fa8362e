"""How fast, how big, how steady: measured as ratios in one run (``make bench``)."""
