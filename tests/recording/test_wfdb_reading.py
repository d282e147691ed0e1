"""Reading WFDB records."""

from __future__ import annotations

import sys

import numpy as np

from ebbline.recording import ChannelKind, open_recording
from ebbline.terms import SensorKind
from shared_data import CTU_UHB, needs_ctu_uhb


@needs_ctu_uhb
def test_samples_are_those_of_the_wfdb_library_in_all_open_recordings() -> None:
    """Against the `wfdb` library's rdrecord, bit for bit; a heart rate of 0 is missing.

    Source of the data: CTU-UHB Intrapartum Cardiotocography Database (Chudacek V, et al. 2014).
    """
    import wfdb

    headers = sorted(CTU_UHB.glob("*.hea"))
    assert len(headers) == 276
    for header in headers:
        recording = open_recording(header)
        theirs = wfdb.rdrecord(str(header.with_suffix(""))).p_signal
        rate, activity = recording.channels
        expected = np.where(theirs[:, 0] == 0, np.nan, theirs[:, 0])
        np.testing.assert_array_equal(rate.samples, expected, strict=True, err_msg=header.name)
        np.testing.assert_array_equal(activity.samples, theirs[:, 1], strict=True)
        assert not any("checksum" in note for note in recording.provenance.notes), header.name
        assert rate.kind is ChannelKind.FETAL_HEART_RATE
        assert (rate.rate_hz, rate.fetus, rate.unit) == (4.0, 1, "bpm")
        assert activity.kind is ChannelKind.UTERINE_ACTIVITY
        assert activity.sensor is SensorKind.TOCO
