"""Colour of one photo: fitted on the card, applied to the jar."""
