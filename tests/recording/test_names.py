"""What the names of channels mean (common practice, no source)."""

from __future__ import annotations

import pytest

from ebbline.errors import RecordingError
from ebbline.recording import ChannelKind
from ebbline.recording.names import number_fetuses, sensor_in, split_unit, understand
from ebbline.terms import SensorKind

FETAL = ChannelKind.FETAL_HEART_RATE
ACTIVITY = ChannelKind.UTERINE_ACTIVITY
MATERNAL = ChannelKind.MATERNAL_HEART_RATE


@pytest.mark.parametrize(
    ("label", "kind", "fetus", "sensor"),
    [
        ("FHR", FETAL, 0, SensorKind.UNKNOWN),
        ("fhr2", FETAL, 2, SensorKind.UNKNOWN),
        ("FHR-A", FETAL, 1, SensorKind.UNKNOWN),
        ("FHR1_US", FETAL, 1, SensorKind.ULTRASOUND),
        ("Fetal heart rate, scalp electrode", FETAL, 0, SensorKind.SCALP_ELECTRODE),
        ("heart rate of twin B", FETAL, 2, SensorKind.UNKNOWN),
        ("fhr_bpm", FETAL, 0, SensorKind.UNKNOWN),
        ("UC", ACTIVITY, 0, SensorKind.UNKNOWN),
        ("uterine activity", ACTIVITY, 0, SensorKind.UNKNOWN),
        ("Toco", ACTIVITY, 0, SensorKind.TOCO),
        ("IUPC", ACTIVITY, 0, SensorKind.PRESSURE_CATHETER),
        ("intrauterine pressure", ACTIVITY, 0, SensorKind.PRESSURE_CATHETER),
        ("MHR", MATERNAL, 0, SensorKind.MATERNAL_PULSE),
        ("maternal pulse", MATERNAL, 0, SensorKind.MATERNAL_PULSE),
        ("heart rate of the mother", None, 0, SensorKind.UNKNOWN),
        ("mother heart rate", MATERNAL, 0, SensorKind.MATERNAL_PULSE),
    ],
)
def test_names_in_use_are_understood(
    label: str, kind: ChannelKind | None, fetus: int, sensor: SensorKind
) -> None:
    name = understand(label)
    if kind is None:
        assert name is None
        return
    assert name is not None
    assert (name.kind, name.fetus, name.sensor) == (kind, fetus, sensor)


AMBIGUOUS = """
HR; heart rate; pulse; ECG; FHR quality; FHR baseline; UC onset; 12; a; fetal movement; FHR 1 2;
FHR 0; FHR 77; fhr?; MHR validity; uterine; SpO2;
"""


@pytest.mark.parametrize("label", [label.strip() for label in AMBIGUOUS.split(";")])
def test_names_that_could_mean_something_else_are_not_guessed(label: str) -> None:
    assert understand(label) is None


def test_unnumbered_fetuses_take_the_free_numbers() -> None:
    names = [understand(label) for label in ("FHR", "UC", "FHR 1", "fetal heart rate")]
    assert number_fetuses(names, "file") == [2, 0, 1, 3]


def test_two_channels_of_one_fetus_are_refused() -> None:
    names = [understand("FHR1"), understand("FHR A")]
    with pytest.raises(RecordingError, match=r"file: two channels say that they are .* fetus 1"):
        number_fetuses(names, "file")


def test_sensor_is_read_from_a_description_only_when_it_names_one() -> None:
    assert sensor_in("Doppler ultrasound transducer") is SensorKind.ULTRASOUND
    assert sensor_in("ultrasound or scalp electrode") is SensorKind.UNKNOWN
    assert sensor_in("") is SensorKind.UNKNOWN


def test_unit_stands_in_brackets() -> None:
    assert split_unit("FHR [bpm]") == ("FHR", "bpm")
    assert split_unit("UC (mmHg)") == ("UC", "mmHg")
    assert split_unit("UC") == ("UC", "")
    assert split_unit("[bpm]") == ("[bpm]", "")
    assert split_unit("FHR (scalp electrode)") == ("FHR scalp electrode", "")
