"""The command `brimcast ask`: the photographer's questions, answered for one set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from importlib.metadata import version
from pathlib import Path

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
            for number in chosen:
                _answer(study, QUESTIONS[number], answers, lacking, band and number in BANDED)
    except KeyboardInterrupt:
        raise Interrupted("interrupted; what was computed is kept, ask again to go on") from None
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


def _as_json(study, answers: dict, lacking: dict) -> str:
    from brimcast.renders.answers.catalogue import QUESTIONS
    from brimcast.renders.images import json_text

    found = {
        str(number): {
            "question": QUESTIONS[number].text,
            "words": list(answer.lines),
            "values": answer.values,
            "cautions": list(answer.cautions),
        }
        for number, answer in answers.items()
    }
    asked = {str(number): {"needs": lack.what, "give": lack.give} for number, lack in lacking.items()}
    settings = {
        "version": version("brimcast"),
        "set": study.text,
        "changes": study.changes,
        "quality": study.quality,
        "seed": study.set_file.render.seed,
        "digest": study.built.digest,
    }
    return json_text({"answers": found, "lacking": asked, "settings": settings})


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
