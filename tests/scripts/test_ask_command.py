"""The command `brimcast ask`: its list, its answers in words and for programs, what it says is missing."""

import importlib
import json

import pytest

from brimcast.renders.answers.catalogue import QUESTIONS
from brimcast.scripts.cli import main

SET = """
brimcast: 1
glasses: {hero: {vessel: tumbler}}
lamps: {key: {throw: 2 m, elevation: 90 deg, azimuth: 180 deg}}
"""


@pytest.fixture
def set_path(tmp_path):
    path = tmp_path / "set.yaml"
    path.write_text(SET, encoding="utf-8")
    return path


def test_list_names_all_thirty_and_what_they_need(capsys):
    assert main(["ask", "--list"]) == 0
    told = capsys.readouterr().out
    assert all(question.text in told for question in QUESTIONS.values())
    assert main(["ask", "--list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [entry["number"] for entry in listed] == list(range(1, 31))
    assert next(entry for entry in listed if entry["number"] == 6)["needs"] == "brief.mark"


def test_every_question_leads_to_a_function():
    for question in QUESTIONS.values():
        module, function = question.where.split(".")
        assert callable(getattr(importlib.import_module(f"brimcast.renders.answers.{module}"), function))


def test_answers_come_in_words_and_for_programs_and_what_lacks_is_asked_for_by_name(set_path, capsys):
    assert main(["ask", str(set_path), "23", "28", "6"]) == 0
    words = capsys.readouterr().out
    assert QUESTIONS[23].text in words and "Not answered" in words
    assert "brief.splash_speed" in words or "camera" in words
    assert "brief.mark" in words

    assert main(["ask", str(set_path), "23", "6", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert list(found["answers"]) == ["23"] and list(found["lacking"]) == ["6"]
    assert found["lacking"]["6"]["give"].startswith("brief.mark")
    assert found["settings"]["set"] == SET and found["settings"]["quality"] == "draft"


@pytest.mark.parametrize("numbers", [["31"], ["0"], ["two"]])
def test_wrong_number_is_told_in_one_line(set_path, numbers, capsys):
    assert main(["ask", str(set_path), *numbers]) == 2
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert repr(numbers[0]) in line and "1 to 30" in line


def test_no_set_is_a_persons_mistake(capsys):
    assert main(["ask"]) == 2
    assert "--list" in capsys.readouterr().err


def test_answers_go_into_the_report_of_the_same_set(set_path, tmp_path, capsys):
    folder = tmp_path / "out"
    assert main(["ask", str(set_path), "23", "--out", str(folder)]) == 2
    assert "holds no report.json" in capsys.readouterr().err
    assert (
        main(["map", str(set_path), "--out", str(folder), "--device", "cpu", "--change", "render.cell=4mm"])
        == 0
    )
    before = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    same = ["--change", "render.cell=4mm", "--out", str(folder)]
    assert main(["ask", str(set_path), "23", "6", *same]) == 0
    after = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert after.pop("answers")["23"]["question"] == QUESTIONS[23].text
    assert after == before
    other = ["--change", "lamps.key.throw=3 m", "--out", str(folder)]
    assert main(["ask", str(set_path), "23", *other]) == 2
    assert "another set" in capsys.readouterr().err


def test_an_answer_is_told_when_it_is_known(set_path, monkeypatch, capsys):
    """Ctrl-C at the second question leaves the first answered."""

    def interrupt(study):
        raise KeyboardInterrupt

    monkeypatch.setattr("brimcast.renders.answers.plates.answer_sum", interrupt)
    assert main(["ask", str(set_path), "23", "27"]) == 130
    told = capsys.readouterr()
    assert QUESTIONS[23].text in told.out and QUESTIONS[27].text not in told.out
    assert "ask again to go on" in told.err
