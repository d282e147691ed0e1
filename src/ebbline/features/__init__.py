"""From usable signal to findings."""

from ebbline.features.detect import detect

__all__ = ["detect"]
