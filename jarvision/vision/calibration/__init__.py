"""The colours of the card as it was printed."""
