"""A standing bench of edits: good photos changed as phones, kitchens and messengers change them.

``make edits`` reads them and counts silent errors: accepted, more than 5 points off, and the truth
outside the interval. The edits are paint, not optics: they say where the program breaks, not how
often.
"""
