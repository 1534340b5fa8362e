"""The shelf's pages on the grower's own network: photo in, verdict out, forms."""
