"""The outermost guard: whatever happens, a person gets words and a code, never a traceback."""

from __future__ import annotations

import pytest

from ebbline.cli import main as door
from ebbline.errors import RecordingError


def _ends(
    error: BaseException, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[int | str | None, str]:
    def broken() -> None:
        raise error

    monkeypatch.setattr(door, "app", broken)
    with pytest.raises(SystemExit) as ended:
        door.main()
    return ended.value.code, capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (RecordingError("it is damaged.", where="a.csv", remedy="Copy it."), 2, "a.csv: it is dam"),
        (ModuleNotFoundError("no", name="duckdb"), 2, 'pip install "ebbline[archive]"'),
        (ModuleNotFoundError("no", name="fhir.resources"), 2, 'pip install "ebbline[fhir]"'),
        (ZeroDivisionError("float division"), 70, "fault of Ebbline's own (ZeroDivisionError"),
        (RecursionError("too deep"), 70, "EBBLINE_DEBUG=1"),
    ],
)
def test_every_end_is_told_in_words(
    error: BaseException,
    code: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.delenv(door.DEBUG, raising=False)
    ended, said = _ends(error, monkeypatch, capsys)
    assert ended == code
    assert words in said
    assert "Traceback" not in said


def test_a_developer_can_ask_for_the_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(door.DEBUG, "1")
    monkeypatch.setattr(door, "app", lambda: 1 // 0)
    with pytest.raises(ZeroDivisionError):
        door.main()
