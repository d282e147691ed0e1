"""Ebbline: reading, examining and teaching for labour-and-delivery nurses and midwives.

For education, review, audit and research. Not a medical device.
"""

__version__ = "0.1.0"

CAUTION = (
    "For education, review, audit and research. Not a medical device: the practitioner at the "
    "bedside and local policy decide."
)
