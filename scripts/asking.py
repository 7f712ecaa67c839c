"""The command `brimcast ask`: the photographer's questions, answered for one set."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from importlib.metadata import version
from pathlib import Path

from brimcast.shared.errors import Fault, PersonError, telling_unwritable

from .computing import read_set
from .failures import Interrupted
from .options import read_numbers
from .progress import Progress


def list_questions(as_json: bool) -> str:
    """Return the thirty questions as text, or for programs."""
    from brimcast.renders.answers.catalogue import QUESTIONS
    from brimcast.renders.images import json_text

    if as_json:
        keys = ("number", "text", "told", "accuracy", "needs")
        return json_text([{key: getattr(question, key) for key in keys} for question in QUESTIONS.values()])
    lines = []
    for question in QUESTIONS.values():
        needs = f"; needs {question.needs}" if question.needs else ""
        lines += [f"{question.number:2}  {question.text}", f"      tells {question.told}{needs}"]
    return "\n".join(lines)


# Questions about where a caustic falls and how bright it is: those that a tolerance band belongs to.
BANDED = (2, 3)


def ask(
    path: Path,
    numbers: Iterable[str],
    changes: Mapping[str, str],
    quality: str,
    device: str,
    as_json: bool,
    band: bool = False,
    report_in: Path | None = None,
) -> str:
    """Return answers in words, or for programs.

    Parameters
    ----------
    path : Path
    numbers : iterable of str
        Of questions; none for all.
    changes : mapping
        Values instead of the set file's, by dotted key.
    quality : {'draft', 'proof', 'final'}
    device : {'auto', 'cpu', 'gpu'}
    as_json : bool
    band : bool
        Tell of questions 2 and 3 how far the answers scatter from set to set.
    report_in : Path, optional
        Folder of a run of this set, to whose report.json the answers are added.

    Raises
    ------
    PersonError, EngineError
    Interrupted
    """
    from brimcast.renders.answers.catalogue import QUESTIONS

    chosen = read_numbers("questions", list(numbers), len(QUESTIONS)) or list(QUESTIONS)
    text = read_set(path, changes)[1]
    from brimcast.renders.answers.study import Study

    answers, lacking = {}, {}
    try:
        with Progress() as progress:
            study = Study(text, str(path), changes, quality, device, progress=progress)
            report = _read_report(report_in, study) if report_in else None
            for number in chosen:
                _answer(study, QUESTIONS[number], answers, lacking, band and number in BANDED)
    except KeyboardInterrupt:
        raise Interrupted("interrupted; what was computed is kept, ask again to go on") from None
    if report is not None:
        _add_to_report(report_in, report, answers)
    if as_json:
        return _as_json(study, answers, lacking)
    return "\n".join(_as_lines(study, answers, lacking))


def _answer(study, question, answers: dict, lacking: dict, band: bool) -> None:
    from brimcast.renders.answers.answer import Lacking
    from brimcast.renders.answers.slips import with_band

    try:
        answer = question.answer(study)
        answers[question.number] = with_band(study, answer) if band else answer
    except Lacking as lack:
        lacking[question.number] = lack


def _read_report(folder: Path, study) -> dict:
    """Return the report of a run of the study's set; it is to be there before long work begins."""
    try:
        report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
        same = report["set"]["digest"] == study.built.digest
    except (OSError, ValueError, KeyError, TypeError):
        text = "holds no report.json of a computed set; run brimcast map or render with this --out first"
        raise PersonError(Fault(str(folder), None, None, None, text)) from None
    if not same:
        text = "holds the report of another set, or of this one before it was changed; compute it again"
        raise PersonError(Fault(str(folder), None, None, None, text))
    return report


def _add_to_report(folder: Path, report: dict, answers: dict) -> None:
    from brimcast.renders.images import write_json
    from brimcast.renders.keep import replacing_file

    kept = {**report.get("answers", {}), **_describe(answers)}
    with telling_unwritable(folder), replacing_file(folder / "report.json") as fresh:
        write_json(fresh, {**report, "answers": kept})


def _describe(answers: dict) -> dict:
    """Return answers as JSON has them, by number."""
    from brimcast.renders.answers.catalogue import QUESTIONS

    return {
        str(number): {
            "question": QUESTIONS[number].text,
            "words": list(answer.lines),
            "values": answer.values,
            "cautions": list(answer.cautions),
        }
        for number, answer in answers.items()
    }


def _as_json(study, answers: dict, lacking: dict) -> str:
    from brimcast.renders.images import json_text

    asked = {str(number): {"needs": lack.what, "give": lack.give} for number, lack in lacking.items()}
    settings = {
        "version": version("brimcast"),
        "set": study.text,
        "changes": study.changes,
        "quality": study.quality,
        "seed": study.set_file.render.seed,
        "digest": study.built.digest,
    }
    return json_text({"answers": _describe(answers), "lacking": asked, "settings": settings})


def _as_lines(study, answers: dict, lacking: dict) -> list[str]:
    from brimcast.renders.answers.catalogue import QUESTIONS

    about = f"{study.quality}, about the lamp {study.lamp}; ± is one standard error"
    lines = [f"{study.set_file.title}: {about}"]
    cautions: list[str] = []
    for number, answer in answers.items():
        lines += ["", f"{number}. {QUESTIONS[number].text}", *(f"   {line}" for line in answer.lines)]
        cautions += [caution for caution in answer.cautions if caution not in cautions]
    if lacking:
        lines += ["", "Not answered, for the set lacks something:"]
        for number, lack in lacking.items():
            lines.append(f"{number:3}. {QUESTIONS[number].text} It {lack}")
    return [*lines, *([""] if cautions else []), *(f"caution: {caution}" for caution in cautions)]
