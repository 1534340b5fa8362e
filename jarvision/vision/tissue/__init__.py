"""What stands behind the glass: masks, classes, coverage."""
