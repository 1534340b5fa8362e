"""Score mycelium coverage in photos of glass jars."""

__version__ = "0.1.0"
