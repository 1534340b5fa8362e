"""What was seen, drawn over the photo."""
