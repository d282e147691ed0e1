"""Internal sensors held against the list; the list read from a file and checked."""

from __future__ import annotations

from pathlib import Path

import pytest

from ebbline.bedside.policy.internal import (
    LineKind,
    LineState,
    Verdict,
    check_internal,
    load_internal,
)
from ebbline.errors import ExaminationError, PolicyError

POLICY = load_internal()
CLEAR = {
    "membranes": "ruptured",
    "dilatation": "4",
    "presenting": "vertex",
    "reachable": "yes",
    "site-clear": "yes",
    "weeks": "39",
    "placenta": "not low",
    "bleeding": "no",
    "vasa-praevia": "no",
    "hiv": "no",
    "herpes": "no",
    "hepatitis-b": "no",
    "hepatitis-c": "no",
    "bleeding-disorder": "no",
    "infection": "no",
    "consent": "yes",
    "scar": "no",
    "hepatitis-d": "no",
    "hepatitis-e": "no",
    "primary-herpes": "no",
    "sepsis": "no",
    "which-twin": "only one",
    "abruption": "no",
    "fluid-returned": "yes",
}
SHIPPED = Path(__file__).parents[2] / "src/ebbline/bedside/policy/internal.yaml"


def present(sensor: str, **changed: str) -> set[str]:
    given = CLEAR | {name.replace("_", "-"): answer for name, answer in changed.items()}
    check = check_internal(sensor, given, POLICY)
    return {r.line.id for r in check.results if r.state in (LineState.PRESENT, LineState.NOT_MET)}


@pytest.mark.parametrize("sensor", ["electrode", "catheter"])
def test_when_all_is_known_and_clear_nothing_stands_against_it(sensor):
    check = check_internal(sensor, CLEAR, POLICY)
    assert check.verdict is Verdict.NOT_AGAINST
    assert check.find_out == ()
    assert "should" not in check.verdict


@pytest.mark.parametrize("sensor", ["electrode", "catheter"])
def test_when_nothing_is_known_nothing_is_met_and_all_is_to_be_found_out(sensor):
    check = check_internal(sensor, {}, POLICY)
    assert check.verdict is Verdict.UNKNOWN
    assert all(r.state is LineState.UNKNOWN for r in check.results)
    assert len(check.find_out) >= 8


@pytest.mark.parametrize("fact", [line.fact for line in POLICY.lines["electrode"]])
def test_one_unknown_fact_is_enough_to_be_not_met(fact):
    # What another fact's "no" answers is only unknown when that one is too.
    open_facts = {fact, *POLICY.facts[fact].no_when}
    given = {name: answer for name, answer in CLEAR.items() if name not in open_facts}
    check = check_internal("electrode", given, POLICY)
    kinds = {r.line.kind for r in check.results if r.state is LineState.UNKNOWN}
    assert kinds
    if kinds != {LineKind.CAUTION}:
        assert check.verdict is Verdict.UNKNOWN
    assert check.find_out


@pytest.mark.parametrize(
    ("fact", "answer", "line"),
    [
        ("membranes", "intact", "membranes"),
        ("dilatation", "1", "dilatation"),
        ("presenting", "shoulder", "presenting part known"),
        ("presenting", "face", "face or brow"),
        ("reachable", "no", "reachable"),
        ("site-clear", "no", "site clear"),
        ("consent", "no", "consent"),
        ("hiv", "yes", "hiv"),
        ("herpes", "yes", "herpes"),
        ("hepatitis-b", "yes", "hepatitis b"),
        ("hepatitis-c", "yes", "hepatitis c"),
        ("bleeding-disorder", "yes", "bleeding disorder"),
        ("placenta", "praevia", "placenta praevia"),
        ("bleeding", "yes", "bleeding"),
        ("weeks", "31", "preterm"),
    ],
)
def test_what_stands_against_an_electrode(fact, answer, line):
    """FIGO 2015; university teaching material; common practice (reference list)."""
    assert line in present("electrode", **{fact: answer})
    check = check_internal("electrode", CLEAR | {fact: answer}, POLICY)
    assert check.verdict is Verdict.AGAINST


@pytest.mark.parametrize(
    ("fact", "answer", "line"),
    [
        ("membranes", "intact", "membranes"),
        ("placenta", "praevia", "placenta praevia"),
        ("bleeding", "yes", "bleeding"),
    ],
)
def test_what_stands_against_a_catheter(fact, answer, line):
    """FIGO 2015; common practice (reference list)."""
    assert line in present("catheter", **{fact: answer})
    assert check_internal("catheter", CLEAR | {fact: answer}, POLICY).verdict is Verdict.AGAINST


@pytest.mark.parametrize(
    ("sensor", "told"),
    [
        ("electrode", {"infection": "yes"}),
        ("electrode", {"sepsis": "yes"}),
        ("electrode", {"presenting": "breech"}),
        ("catheter", {"infection": "yes"}),
        ("catheter", {"herpes": "yes"}),
        ("catheter", {"hiv": "yes"}),
        ("catheter", {"scar": "yes"}),
        ("catheter", {"fluid-returned": "no"}),
    ],
)
def test_what_asks_for_care_never_yields_the_clear_answer(sensor, told):
    check = check_internal(sensor, CLEAR | told, POLICY)
    assert check.verdict is Verdict.CARE
    assert check.care


@pytest.mark.parametrize(
    ("sensor", "told"),
    [
        ("electrode", {"hepatitis-d": "yes", "hepatitis-b": "yes"}),
        ("electrode", {"hepatitis-e": "yes"}),
        ("electrode", {"primary-herpes": "yes"}),
        ("electrode", {"which-twin": "second twin"}),
        ("catheter", {"abruption": "yes"}),
    ],
)
def test_what_published_lists_add_stands_against(sensor, told):
    """FIGO 2015 names hepatitis B, C, D and E (from memory); BASHH and RCOG 2014 a first attack of
    herpes within six weeks of birth (from memory)."""
    assert check_internal(sensor, CLEAR | told, POLICY).verdict is Verdict.AGAINST


def test_hepatitis_d_needs_hepatitis_b_and_is_not_asked_without_it():
    given = {k: v for k, v in CLEAR.items() if k != "hepatitis-d"}
    assert check_internal("electrode", given, POLICY).verdict is Verdict.NOT_AGAINST


@pytest.mark.parametrize("weeks", ["39+4", "39w4d", "39.5", "39 weeks", "39+4 weeks"])
def test_weeks_with_days_are_read(weeks):
    check = check_internal("electrode", CLEAR | {"weeks": weeks}, POLICY)
    assert check.verdict is Verdict.NOT_AGAINST


def test_weeks_are_told_back_with_days():
    check = check_internal("electrode", CLEAR | {"weeks": "39+4"}, POLICY)
    assert next(r.known for r in check.results if r.line.fact == "weeks") == "39+4"


def test_words_of_the_ward_are_understood_and_what_tells_nothing_stays_unknown():
    """An anterior placenta tells the wall it lies on, not how low."""
    assert present("electrode", presenting="cephalic") == set()
    check = check_internal("electrode", CLEAR | {"placenta": "anterior"}, POLICY)
    assert check.verdict is Verdict.UNKNOWN


@pytest.mark.parametrize(("weeks", "against"), [("33.9", True), ("34", False)])
def test_thirty_four_weeks_is_the_limit_and_the_other_limit_is_shown(weeks, against):
    """Guidelines differ: 32, 34 (reference list)."""
    assert ("preterm" in present("electrode", weeks=weeks)) is against
    line = next(x for x in POLICY.lines["electrode"] if x.id == "preterm")
    assert any("32" in d.text for d in line.differs)


@pytest.mark.parametrize(("cm", "met"), [("1.9", False), ("2", True), ("10", True)])
def test_two_centimetres_are_enough(cm, met):
    assert ("dilatation" not in present("electrode", dilatation=cm)) is met


def test_every_line_has_a_source_and_says_what_to_find_out():
    for lines in POLICY.lines.values():
        assert all(line.source and line.find_out and line.text for line in lines)


@pytest.mark.parametrize(
    ("given", "hint"),
    [
        ({"membrane": "ruptured"}, "membranes"),
        ({"membranes": "rupturd"}, "ruptured"),
        ({"hiv": "perhaps"}, "yes"),
        ({"dilatation": "wide"}, "0 to 10"),
        ({"dilatation": "40"}, "0 to 10"),
        ({"weeks": "nan"}, "16 to 45"),
    ],
)
def test_misspelt_and_impossible_facts_get_a_hint(given, hint):
    with pytest.raises(ExaminationError, match=hint):
        check_internal("electrode", given, POLICY)


def test_an_unknown_sensor_is_named():
    with pytest.raises(ExaminationError, match="electrode"):
        check_internal("electrod", {}, POLICY)


def edited(tmp_path: Path, old: str, new: str) -> Path:
    text = SHIPPED.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "ours.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def test_a_units_own_limit_is_used(tmp_path):
    path = edited(tmp_path, "when: {below: 34}", "when: {below: 32}")
    policy = load_internal(path)
    check = check_internal("electrode", CLEAR | {"weeks": "33"}, policy)
    assert check.verdict is Verdict.NOT_AGAINST
    assert check.policy.file == str(path)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("kind: requirement", "kind: requirment", "Did you mean 'requirement'"),
        ("fact: dilatation", "fact: dilation", "Did you mean 'dilatation'"),
        ("when: {at_least: 2}", "when: {at_least: two}", "must be a number"),
        ("when: {at_least: 2}", "when: 2", "keys with values"),
        ("source: figo", "source: figgo", "Did you mean 'figo'"),
        ("answer: number", "answer: nummer", "Did you mean 'number'"),
        ("policy: internal sensors", "policy: reviews", "internal sensors"),
        ("mark: from memory", "mark: remembered", "cannot stand"),
        ('        find_out: "Membranes', '        findout: "Membranes', "find_out"),
        ("id: dilatation", "id: membranes", "stands twice"),
        (
            "        kind: requirement",
            "        kind: requirement\n        kind: caution",
            "stands here twice",
        ),
        (
            "when: yes\n        text: The presenting",
            "when: 7\n        text: The presenting",
            "yes or no",
        ),
        ("when: {at_least: 2}", "when: {}", "at_least"),
        ("when: {at_least: 2}", "when: {at_least: inf}", "finite"),
        ("    choices: [ruptured, intact]\n", "", "choices"),
        ("    from: 0\n", "", "'from' and 'to'"),
        ("text: The membranes must be ruptured.", "text: [a, b]", "must be a text"),
        ("text: The membranes must be ruptured.", "text: ''", "must be a text"),
        ("choices: [ruptured, intact]", "choices: ruptured", "must be a list"),
        ("edition: published", "edition: &a published", None),
        ("facts:\n", "facts: [\n", "not YAML"),
    ],
)
def test_errors_in_a_policy_name_the_line(tmp_path, old, new, message):
    path = edited(tmp_path, old, new)
    if message is None:
        load_internal(path)
        return
    with pytest.raises(PolicyError, match=message) as caught:
        load_internal(path)
    assert "line " in caught.value.where


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"- a\n- b\n", "keys with values"),
        (b"policy: [*x]\n", "alias"),
        (b"\xff\xfe\x00", "not UTF-8|not YAML"),
        (b"policy: internal sensors\n", "is missing"),
        (b"[" * 3000, "YAML|nested"),
        (b"policy: internal sensors\n" + b"#" * 1_100_000, "too large"),
    ],
)
def test_any_other_file_is_refused_in_words(tmp_path, content, message):
    path = tmp_path / "odd.yaml"
    path.write_bytes(content)
    with pytest.raises(PolicyError, match=message):
        load_internal(path)


def test_a_policy_that_is_not_there_is_said(tmp_path):
    with pytest.raises(PolicyError, match="cannot be read"):
        load_internal(tmp_path / "none.yaml")


def _own(tmp_path: Path, old: str, new: str) -> Path:
    text = SHIPPED.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "own.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def test_an_empty_list_is_refused(tmp_path):
    text = SHIPPED.read_text(encoding="utf-8")
    path = tmp_path / "own.yaml"
    path.write_text(
        text[: text.index("sensors:\n  electrode")]
        + "sensors:\n  electrode:\n    title: Electrode\n    lines: []\n",
        encoding="utf-8",
    )
    with pytest.raises(PolicyError, match="stand against nothing"):
        load_internal(path)


@pytest.mark.parametrize("when", ["{below: 34, at_least: 40}", "{below: 10}", "{at_least: 60}"])
def test_a_line_that_can_never_fire_is_refused(tmp_path, when):
    with pytest.raises(PolicyError, match="never fire"):
        load_internal(_own(tmp_path, "when: {below: 34}", f"when: {when}"))


def test_a_list_that_asks_for_what_it_forbids_is_refused(tmp_path):
    path = _own(
        tmp_path,
        "kind: contraindication\n        fact: presenting",
        "kind: contraindication\n        fact: membranes",
    )
    text = path.read_text(encoding="utf-8").replace(
        "when: [face, brow, shoulder]", "when: ruptured"
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PolicyError, match="also forbids"):
        load_internal(path)


def test_what_a_units_own_list_leaves_out_is_named(tmp_path):
    text = SHIPPED.read_text(encoding="utf-8")
    at = text.index("      - id: hiv\n")
    end = text.index("      - id: herpes\n", at)
    path = tmp_path / "own.yaml"
    path.write_text(text[:at] + text[end:], encoding="utf-8")
    check = check_internal("electrode", CLEAR, load_internal(path))
    assert check.dropped == ("hiv",)
    assert check_internal("electrode", CLEAR, POLICY).dropped == ()
