"""One photo -> one reading."""
