"""Physically based test photos with exact truth: what stands in the jar, and how it is rendered."""
