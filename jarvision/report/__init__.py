"""The files that come out: tables, curves and the page."""
