"""Simulated jar histories with known truth, and what the package makes of them.

No photo is rendered: walls grow by nucleation and growth, and a reader with the measured error of
the vision stages turns each day into the reading that a photo would give.
"""
