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
from ebbline.recording.registry import Saved, files_to_write, open_recording, save_recording

__all__ = [
    "Annotation",
    "Channel",
    "ChannelKind",
    "Context",
    "FloatArray",
    "Provenance",
    "Recording",
    "Saved",
    "files_to_write",
    "open_recording",
    "save_recording",
]
