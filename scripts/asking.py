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
) -> None:
    """Print answers in words, each when it is known; or all for programs.

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
    from brimcast.renders.answers.answer import Lacking
    from brimcast.renders.answers.study import Study

    answers, lacking = {}, {}
    try:
        with Progress(open_ended=True) as progress:
            study = Study(text, str(path), changes, quality, device)
            report = _read_report(report_in, study) if report_in else None
            if not as_json:
                progress.answer(_head(study))
            for number in chosen:
                study.progress = _telling_question(progress, number)
                try:
                    answers[number] = _answer(study, number, band)
                except Lacking as lack:
                    lacking[number] = lack
                    continue
                if not as_json:
                    progress.answer(_in_words(number, answers[number]))
    except KeyboardInterrupt:
        raise Interrupted("interrupted; what was computed is kept, ask again to go on") from None
    if report is not None:
        _add_to_report(report_in, report, answers)
    if rest := _as_json(study, answers, lacking) if as_json else _end(answers, lacking):
        print(rest)


def _telling_question(progress: Progress, number: int):
    return lambda share, text: progress(share, f"question {number}, {text}")


def _answer(study, number: int, band: bool):
    from brimcast.renders.answers.catalogue import QUESTIONS
    from brimcast.renders.answers.slips import with_band

    answer = QUESTIONS[number].answer(study)
    return with_band(study, answer) if band and number in BANDED else answer


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


def _head(study) -> str:
    title, quality = study.set_file.title, study.quality
    return f"{title}: {quality}, about the lamp {study.lamp}; ± is one standard error"


def _in_words(number: int, answer) -> str:
    from brimcast.renders.answers.catalogue import QUESTIONS

    return "\n".join(["", f"{number}. {QUESTIONS[number].text}", *(f"   {line}" for line in answer.lines)])


def _end(answers: dict, lacking: dict) -> str:
    """Return what was not answered, and the cautions of all answers, each once."""
    from brimcast.renders.answers.catalogue import QUESTIONS

    lines = []
    if lacking:
        lines += ["", "Not answered, for the set lacks something:"]
        for number, lack in lacking.items():
            lines.append(f"{number:3}. {QUESTIONS[number].text} It {lack}")
    cautions = dict.fromkeys(caution for answer in answers.values() for caution in answer.cautions)
    return "\n".join([*lines, *([""] if cautions else []), *(f"caution: {caution}" for caution in cautions)])
