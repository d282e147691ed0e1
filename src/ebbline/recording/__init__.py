"""Recordings and the formats they come in."""

from ebbline.recording.model import (
    Annotation,
    Channel,
    ChannelKind,
    Context,
    Encoded,
    FloatArray,
    Provenance,
    Recording,
)
from ebbline.recording.registry import (
    Saved,
    encode_recording,
    files_read,
    open_recording,
    save_recording,
)

__all__ = [
    "Annotation",
    "Channel",
    "ChannelKind",
    "Context",
    "Encoded",
    "FloatArray",
    "Provenance",
    "Recording",
    "Saved",
    "encode_recording",
    "files_read",
    "open_recording",
    "save_recording",
]
