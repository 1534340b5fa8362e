"""Readings of a jar -> its days, and patches that last."""
