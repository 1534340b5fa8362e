"""What knows nothing of jars: errors, files, text, colour, tables of measurements."""
