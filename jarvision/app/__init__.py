"""What the grower touches: the command line."""
