"""Rendered photos of fruiting jars from above, with exact truth."""
