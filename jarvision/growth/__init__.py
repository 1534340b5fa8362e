"""Days of a jar -> its curve, its forecast, its stall."""
