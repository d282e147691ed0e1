"""Recordings and the formats they come in."""

from ebbline.recording.model import (
    Channel,
    ChannelKind,
    Context,
    FloatArray,
    Provenance,
    Recording,
)

__all__ = ["Channel", "ChannelKind", "Context", "FloatArray", "Provenance", "Recording"]
