"""What the grower writes down: jars, species, outcomes, shapes of glass, names of photos."""
