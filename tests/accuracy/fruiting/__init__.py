"""Simulated fruiting jars, seen from above, with known truth: stages, harvests, moulds.

No photo is rendered: a jar recovers, dries, pins and fruits by laws of its own, and a reader with
stated errors turns each day into what a photo from above would say.
"""
