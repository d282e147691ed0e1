"""Recordings and the formats they come in."""

from ebbline.recording.model import (
    Annotation,
    Channel,
    ChannelKind,
    Context,
    FloatArray,
    Provenance,
    Recording,
)
from ebbline.recording.registry import open_recording

__all__ = [
    "Annotation",
    "Channel",
    "ChannelKind",
    "Context",
    "FloatArray",
    "Provenance",
    "Recording",
    "open_recording",
]
