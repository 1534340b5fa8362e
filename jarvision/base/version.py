"""The version of the package, and nothing else: it loads nothing."""

__version__ = "0.1.0"
