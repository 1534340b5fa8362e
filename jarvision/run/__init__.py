"""A folder of photos: what is new, workers, store, watch."""
