"""The examination as a whole."""

from __future__ import annotations

from ebbline import codec
from ebbline.bedside import ExamContext, ExamResult, Placenta, examine


def test_a_breech_in_the_fundus_and_a_head_at_the_brim_mean_a_head_presents():
    result = examine({"fundus": "breech", "brim": "head"}, ExamContext(weeks=39))
    assert result.presentation[0].word == "vertex"
    assert result.noncephalic < 0.06


def test_what_was_not_told_is_named_and_never_counts_as_no():
    bare = examine({"brim": "head"})
    assert {"weeks of gestation", "place of the placenta", "bleeding"} <= set(bare.not_told)
    told = ExamContext(weeks=39, bleeding=False, placenta=Placenta.NOT_LOW)
    assert not {"weeks of gestation", "bleeding"} & set(examine({}, told).not_told)


def test_a_result_is_saved_as_json_and_read_back_whole():
    result = examine({"back": "left", "heart": "left below"}, ExamContext(weeks=39))
    again = codec.from_json(ExamResult, codec.to_json(result))
    assert codec.to_data(again) == codec.to_data(result)
